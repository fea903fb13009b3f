/**
 * Where the device kit may answer otherwise than src/unit: what it leaves out (docs/device-kit.md), and nothing else. In each case it
 * refuses, and no later than src/unit does; the one exception is marked.
 */
import { toHex } from '../../src/bytes/index.ts';
import { flashLayout, REFUSALS, stepOf } from '../../src/unit/index.ts';
import type { Answer, FlashQuestion, Question } from './questions.ts';

interface Difference {
  readonly leavesOut: string;
  /** What the kit says. */
  readonly heard: readonly string[];
  /** It refuses at a later step than src/unit. */
  readonly later?: true;
  /** Whether the question is about that, by the envelope in hexadecimal and what src/unit says. */
  readonly about: (envelope: string, expected: string) => boolean;
}

/** Object identifiers of extensions: name constraints, certificate policies, mappings, policy constraints, inhibit any. */
const PRESCRIBING = /0603551d(?:1e|20|21|24|36)/;
/** Parameter 19, encryption info: a byte string with a COSE_Encrypt in it, or what is left of one. */
const ENCRYPTION_INFO = /13(?:4.|5[0-7]|58..|59....)(?:d8|8[34])/;
/** The same as the first of the parameters that directive 20 sets, whatever is left of it. */
const ENCRYPTION_INFO_FIRST = /14a[1-9]13/;
/** Commands 29, 34 and 35: wait, override-multiple, copy-params. */
const NOT_CARRIED_OUT = /18(?:1d|22|23)/;
/** An attribute type of X.520 or the identifier of an algorithm, and then an element that holds others. */
const NESTED_VALUE = /06(?:035504..|072a8648ce3d0201|082a8648ce3d040302|032b6570)[2367abef]/;
/** COSE_Sign and COSE_Mac with their tags, within the wrapper's array. */
const SEVERAL = /d862|d861/;
/** Codes that only an envelope of a trust signer meets, and the first that a unit without a policy area has for one. */
const OF_TRUST_UPDATES =
  /^(?:trust-|policy-|retirement-|component-not-for-purpose|component-unknown|parameter-unsupported)/;

const DIFFERENCES: readonly Difference[] = [
  {
    leavesOut: 'trust updates',
    heard: ['signer-purpose-wrong'],
    about: (_, expected) => OF_TRUST_UPDATES.test(expected),
  },
  {
    leavesOut: 'names and policies that an authority prescribes',
    heard: ['signer-certificate-unsupported'],
    about: (envelope) => PRESCRIBING.test(envelope),
  },
  {
    leavesOut: 'waiting',
    heard: ['parameter-unsupported', 'command-unsupported'],
    about: (_, expected) => expected === 'wait-not-over',
  },
  {
    leavesOut: 'commands whose arguments are not read, as they are not carried out',
    heard: ['command-unsupported'],
    about: (envelope, expected) => expected === 'manifest-malformed' && NOT_CARRIED_OUT.test(envelope),
  },
  {
    leavesOut: 'encryption info, where the unit takes none: it is not read',
    heard: ['parameter-unsupported'],
    about: (envelope, expected) => expected === 'manifest-malformed' && ENCRYPTION_INFO_FIRST.test(envelope),
  },
  {
    leavesOut: 'values of names and of algorithms that hold elements',
    heard: ['signer-chain-malformed'],
    about: (envelope) => NESTED_VALUE.test(envelope),
  },
  {
    leavesOut: 'other ways of decryption than A128KW and AES-128-CTR into the free slot',
    heard: [
      'parameter-unsupported',
      'recipient-missing',
      'encryption-algorithm-not-allowed',
      'content-key-wrong',
    ],
    about: (envelope) => ENCRYPTION_INFO.test(envelope),
  },
  {
    leavesOut: 'blocks of several signers or recipients (COSE_Sign, COSE_Mac), and large headers',
    heard: ['authentication-block-malformed'],
    about: (envelope) => SEVERAL.test(envelope),
  },
  {
    leavesOut: 'whether a key is a point of its curve, before a signature is judged under it',
    heard: ['signature-wrong', 'signer-path-broken'],
    later: true,
    about: (_, expected) => expected === 'signer-chain-malformed',
  },
  {
    leavesOut: 'messages around an envelope',
    heard: ['message-malformed'],
    about: (envelope) => !envelope.startsWith('d86b'),
  },
];

/** Whether a unit has something on board, or is offered something, that the kit leaves out as a whole: it would say less. */
export function isLeftOut(question: Question): boolean {
  return (
    question.kind === 'flash' && question.what !== 'install' && ENCRYPTION_INFO.test(envelopesOn(question))
  );
}

function envelopesOn({ unit, content }: FlashQuestion): string {
  const { envelopes } = flashLayout(unit.record.memory);
  return envelopes.map(({ offset, size }) => toHex(content.subarray(offset, offset + size))).join('');
}

/** What the kit leaves out that accounts for two answers, or undefined. */
export function declared({ offer }: Question, expected: Answer, heard: Answer): string | undefined {
  const envelope = offer ? toHex(offer.envelope) : '';
  const [said] = expected.told.split(' ');
  if (expected.told === heard.told) return undefined;
  return DIFFERENCES.find(
    ({ heard: codes, about, later }) =>
      codes.includes(heard.told) && about(envelope, said!) && (later || isRefusedNoLater(said!, heard.told)),
  )?.leavesOut;
}

function isRefusedNoLater(expected: string, heard: string): boolean {
  const number = (code: string) => {
    const row = REFUSALS.find((each) => each.code === code);
    return row && stepOf(row.step).number;
  };
  const [theirs, ours] = [number(heard), number(expected)];
  return theirs !== undefined && (ours === undefined || theirs <= ours);
}

import { type ByteSource, sourceOf } from '../../bytes/index.ts';
import { type AuthenticityCheck, type CoseVerdict, openMessage } from '../../cose/index.ts';
import { UNIT_LIMITS } from '../limits.ts';
import { messageAlgorithm } from '../message-algorithm.ts';
import { prepareRecord } from '../prepared.ts';
import type { RefusalCode } from '../refusals.ts';
import type { UnitView } from '../state.ts';
import { Trace } from '../trace.ts';
import { refusalRaisedBy } from '../verdict.ts';
import { judgeAuthentication } from './authentication.ts';
import { contentAlgorithmOf } from './encryption.ts';
import type { OpenedEnvelope } from './envelope.ts';
import { judgeSigner } from './signer.ts';
import type { SignerRules } from './signer-path.ts';

/** First bytes of COSE messages (RFC 9052 section 2): Encrypt0, Mac0 and Sign1 in one byte, Encrypt, Mac and Sign in two. */
const ONE_BYTE = [0xd0, 0xd1, 0xd2];
const TWO_BYTES = { first: 0xd8, second: [96, 97, 98] };
/**
 * Before step 1 proper: where the file is an encrypted message, its signature or MAC is judged by the unit's own rules
 * for signers, and only then is it decrypted. Gives the envelope in it, whose steps all follow; any other file as it is.
 * Step `envelope` is open afterwards where there was a message. RFC 9052 sections 4.2, 5.1 and 6.2.
 */
export function judgeMessage(
  trace: Trace,
  source: ByteSource,
  unit: UnitView,
  rules: SignerRules,
): ByteSource {
  if (!isMessage(source)) return source;
  trace.enter('envelope');
  const largest = UNIT_LIMITS.messageBytes.value;
  trace.require(source.size <= largest, 'envelope-too-large', {
    what: 'size of the message in bytes',
    expected: `at most ${largest}`,
    found: source.size,
    source: 'docs/deployment-profile.md; RFC 9124 4.3.21',
  });
  const aside = new Trace(['signer', 'authentication']);
  const opened = openMessage(source.read(0, source.size), {
    authenticate: byUnitsRules(aside, unit, rules),
    unwrappers: unit.unwrappers ?? [],
    algorithms: [messageAlgorithm(contentAlgorithmOf(unit))],
  });
  trace.adopt(aside.steps.flatMap(({ comparisons }) => comparisons));
  const question = {
    what: 'encrypted message around the envelope',
    expected: 'signed or MACed by who may seal for this unit, then encrypted for it',
    source: 'docs/deployment-profile.md; RFC 9052 5.1',
  };
  if (!opened.ok) return trace.refuse(CODES[opened.step], { ...question, found: opened.detail });
  trace.holds({ ...question, found: `${opened.plaintext.length} bytes decrypted` });
  return sourceOf(opened.plaintext);
}

const CODES = {
  message: 'message-malformed',
  authenticity: 'message-not-authentic',
  decryption: 'message-not-decrypted',
} as const satisfies Record<string, RefusalCode>;

/** Whether a file begins as a COSE message, such as an encrypted one around an envelope, and not as an envelope. */
export function isMessage(source: ByteSource): boolean {
  const start = source.read(0, Math.min(2, source.size));
  const first = start[0] ?? 0;
  return ONE_BYTE.includes(first) || (first === TWO_BYTES.first && TWO_BYTES.second.includes(start[1] ?? 0));
}

/** Steps 2 and 3, asked about the message: the same rules, and the same trace lines. */
function byUnitsRules(aside: Trace, unit: UnitView, rules: SignerRules): AuthenticityCheck {
  return (message, payload): CoseVerdict<unknown> => {
    const standIn = { envelope: { digest: { encoded: payload } }, blocks: [message] };
    const opened = standIn as unknown as OpenedEnvelope;
    const refusal = refusalRaisedBy(() => {
      const judged = judgeSigner(aside, opened, unit, rules);
      judgeAuthentication(aside, opened, judged, [prepareRecord(unit.record).profile.algorithm]);
    });
    if (refusal) return { ok: false, code: 'signature-wrong', detail: `${refusal.code}: ${refusal.says}` };
    return { ok: true, algorithm: undefined };
  };
}

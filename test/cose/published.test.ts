/** cose-wg/Examples: RFC 9052/9053 Appendix C, RFC 8392 Appendix A, RFC 9360 headers; every Sign1, Sign, Mac0 and Mac. */
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import {
  CoseError,
  type CoseMessage,
  type CoseSigner,
  decodeCose,
  LABEL,
  type Label,
  macStructure,
  macStructure0,
  signStructure,
  signStructure1,
  type VerifyOptions,
  verifyMac,
  verifyMac0,
  verifySign1,
  verifySigner,
} from '../../src/cose/index.ts';
import { ed25519Spki, hssSpki, type PublicKey, p256Spki, readPublicKey } from '../../src/crypto/index.ts';
import { partition, type SkipReason, vectors, vectorsPresent } from '../vectors.ts';

interface KeyVector {
  kty: string;
  crv?: string;
  xHex: string;
  publicHex?: string;
  yHex: string;
  kHex?: string;
}

interface Case {
  id: string;
  type: string;
  algorithms: string[];
  expected: 'valid' | 'invalid';
  cborHex: string;
  plaintextHex: string;
  externalAadHex: string;
  signerExternalAadHex?: string[];
  keys: KeyVector[];
  intermediates: { toBeSignedHex?: string[]; toBeMacedHex?: string };
}

const KINDS: Record<string, CoseMessage['kind']> = {
  COSE_Sign1: 'sign1',
  COSE_Sign: 'sign',
  COSE_Mac0: 'mac0',
  COSE_Mac: 'mac',
};
/** The algorithm that a key of the source is for. */
const ALGORITHM_OF: Record<string, number> = { 'P-256': -7, Ed25519: -8, 'HSS-LMS': -46, oct: 5 };

const IN_THE_TABLES = ['ES256', 'EdDSA', 'HSS-LMS', 'HS256', 'direct'];
const BEYOND_THE_TABLES: readonly SkipReason<Case>[] = [
  [
    'an algorithm outside the tables',
    (each) => each.algorithms.some((name) => !IN_THE_TABLES.includes(name)),
  ],
  ['a key on another curve', (each) => each.keys.some((key) => algorithmOf(key) === undefined)],
];

const all: Case[] = vectorsPresent ? vectors('cose-examples').cases : [];
const cases = all.filter((each) => each.type in KINDS);
const valid = cases.filter((each) => each.expected === 'valid');
const invalid = cases.filter((each) => each.expected === 'invalid');
const { judged: within, skipped } = partition(valid, BEYOND_THE_TABLES);
const withOpenAlg = within.filter((each) => hasOpenAlg(messageOf(each)));

function algorithmOf({ crv, kty }: KeyVector): number | undefined {
  return ALGORITHM_OF[crv ?? kty];
}

/** As the source's runner does: the kind comes from the file, so untagged messages can be read. */
function messageOf(each: Case): CoseMessage {
  return decodeCose(fromHex(each.cborHex), { requireTag: false, kind: KINDS[each.type]! });
}

function hasOpenAlg(message: CoseMessage): boolean {
  const layers = message.kind === 'sign' ? message.signers.map((each) => each.headers) : [message.headers];
  return layers.some((headers) => headers.entries.some((e) => e.label === LABEL.alg && !e.isProtected));
}

/** `undefined` for a key that is none here: another curve, RSA. */
function publicKeyOf(key: KeyVector): PublicKey | undefined {
  if (algorithmOf(key) === undefined) return undefined;
  if (key.publicHex) return readPublicKey(hssSpki(fromHex(key.publicHex))!);
  const x = fromHex(key.xHex);
  return readPublicKey(key.crv === 'Ed25519' ? ed25519Spki(x) : p256Spki(x, fromHex(key.yHex))!);
}

function aadOf(each: Case, signer: number): Uint8Array {
  return fromHex(each.signerExternalAadHex?.[signer] ?? each.externalAadHex);
}

/** Whether alg must be protected, or the caller says the one algorithm of each key (RFC 9052 7.1). */
type Holding = 'any' | 'one';

/** One outcome per signer or recipient: 'ok', a refusal, or the code of the CoseError. */
function outcomesOf(each: Case, holding: Holding = 'any'): string[] {
  try {
    return verdictsOn(messageOf(each), each, holding);
  } catch (error) {
    if (error instanceof CoseError) return [error.code];
    throw error;
  }
}

function verdictsOn(message: CoseMessage, each: Case, holding: Holding): string[] {
  const parties = message.kind === 'sign' ? message.signers : [undefined];
  return parties.map((signer, i) => {
    const key = each.keys[i]!;
    const held = holding === 'one' ? { keyAlgorithm: algorithmOf(key)! } : {};
    const verdict = verdictOn(message, signer, key, fromHex(each.plaintextHex), {
      externalAad: aadOf(each, i),
      understood: namedByCrit(message),
      ...held,
    });
    return verdict.ok ? 'ok' : verdict.code;
  });
}

/** An example with crit is one for a reader that understands what its crit names (RFC 9052 appendix C.1.3). */
function namedByCrit({ headers }: CoseMessage): Label[] {
  const crit = headers.protectedGet(LABEL.crit);
  const items = crit?.type === 'array' ? crit.items : [];
  return items.flatMap((item) => ('value' in item && typeof item.value === 'string' ? [item.value] : []));
}

function verdictOn(
  message: CoseMessage,
  signer: CoseSigner | undefined,
  key: KeyVector,
  payload: Uint8Array,
  options: VerifyOptions,
) {
  if (message.kind === 'mac0') return verifyMac0(message, fromHex(key.kHex ?? ''), payload, options);
  if (message.kind === 'mac') return verifyMac(message, fromHex(key.kHex ?? ''), payload, options);
  const publicKey = publicKeyOf(key);
  if (!publicKey) return { ok: false, code: 'no key here' } as const;
  if (message.kind === 'sign1') return verifySign1(message, publicKey, payload, options);
  return verifySigner(message, signer!, publicKey, payload, options);
}

/** What is signed or MACed, per signer. */
function structuresOf(message: CoseMessage, each: Case): Uint8Array[] {
  const payload = fromHex(each.plaintextHex);
  const { protectedBytes } = message.headers;
  if (message.kind === 'sign1') return [signStructure1(protectedBytes, payload, aadOf(each, 0))];
  if (message.kind === 'mac0') return [macStructure0(protectedBytes, payload, aadOf(each, 0))];
  if (message.kind === 'mac') return [macStructure(protectedBytes, payload, aadOf(each, 0))];
  return message.signers.map((signer, i) =>
    signStructure(protectedBytes, signer.headers.protectedBytes, payload, aadOf(each, i)),
  );
}

describe.skipIf(!vectorsPresent)('cose-wg/Examples', () => {
  it('holds cases that are judged', () => expect(within.length + invalid.length).toBeGreaterThan(0));

  it.each(valid)(
    '$id: Sig_structure and MAC_structure are the published ones (RFC 9052 4.4, 6.3)',
    (each) => {
      const published = each.intermediates.toBeSignedHex ?? [each.intermediates.toBeMacedHex!];
      expect(structuresOf(messageOf(each), each).map(toHex)).toEqual(published);
    },
  );

  it.each(within.filter((each) => !withOpenAlg.includes(each)))('$id verifies', (each) => {
    expect(outcomesOf(each)).toEqual(each.keys.map(() => 'ok'));
  });

  it.each(within)('$id verifies where each key is held for one algorithm', (each) => {
    expect(outcomesOf(each, 'one')).toEqual(each.keys.map(() => 'ok'));
  });

  it.each(invalid)('$id is refused', (each) => {
    for (const holding of ['any', 'one'] as const) {
      expect(outcomesOf(each, holding).every((outcome) => outcome === 'ok')).toBe(false);
    }
  });

  it.each(withOpenAlg)(
    '$id leaves alg unprotected: refused unless the caller holds the key for it',
    (each) => {
      expect(outcomesOf(each)).toEqual(each.keys.map(() => 'alg-unprotected'));
    },
  );

  it.each(skipped)('$entry.id is skipped, $reason: it is refused, not misread', ({ entry }) => {
    expect(outcomesOf(entry).every((outcome) => outcome === 'ok')).toBe(false);
  });

  it.each(
    all.filter((each) => each.type.startsWith('COSE_Encrypt') && each.expected === 'valid' && isTagged(each)),
  )('$id, which is encrypted, is named as such', (each) => {
    expect(outcomesOf({ ...each, type: 'COSE_Sign1' })).toEqual(['kind-unsupported']);
  });

  it('a flipped bit anywhere in a valid message never verifies', () => {
    for (const each of within.slice(0, 8)) {
      const bytes = fromHex(each.cborHex);
      const step = bytes.length > 1000 ? 197 : 5; // an HSS signature is long, and dear to verify
      for (let bit = 0; bit < bytes.length * 8; bit += step) {
        const changed = bytes.slice();
        changed[bit >> 3]! ^= 1 << (bit & 7);
        const outcomes = outcomesOf({ ...each, cborHex: toHex(changed) });
        const open = toHex(changed).length === each.cborHex.length && onlyOpenHeadersDiffer(each, changed);
        if (!open) expect(outcomes, `${each.id} bit ${bit}`).not.toContain('ok');
      }
    }
  });
});

/** A CBOR tag stands first: major type 6. */
function isTagged({ cborHex }: Case): boolean {
  return fromHex(cborHex)[0]! >> 5 === 6;
}

/** Unprotected parameters (here kid) and the recipients of a MAC are open to change: everything else must be equal. */
function onlyOpenHeadersDiffer(each: Case, changed: Uint8Array): boolean {
  try {
    const message = messageOf(each);
    const other = messageOf({ ...each, cborHex: toHex(changed) });
    const closed = (m: CoseMessage) => [
      m.kind,
      toHex(m.headers.protectedBytes),
      m.payload && toHex(m.payload),
      ...(m.kind === 'sign1' ? [toHex(m.signature)] : []),
      ...(m.kind === 'mac0' || m.kind === 'mac' ? [toHex(m.tagBytes)] : []),
      ...(m.kind === 'sign'
        ? m.signers.map((s) => `${toHex(s.headers.protectedBytes)} ${toHex(s.signature)}`)
        : []),
    ];
    return JSON.stringify(closed(message)) === JSON.stringify(closed(other));
  } catch {
    return false;
  }
}

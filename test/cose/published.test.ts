/** cose-wg/Examples: RFC 9052/9053 Appendix C, RFC 8392 Appendix A, RFC 9360 headers; every Sign1, Sign, Mac0 and Mac. */
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import {
  CoseError,
  type CoseMessage,
  decodeCose,
  LABEL,
  macStructure,
  macStructure0,
  signStructure,
  signStructure1,
  verifyMac,
  verifyMac0,
  verifySign1,
  verifySigner,
} from '../../src/cose/index.ts';
import {
  ed25519Spki,
  hmacSha256,
  hssSpki,
  type PublicKey,
  p256Spki,
  readPublicKey,
  verifySignature,
} from '../../src/crypto/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';

interface KeyVector {
  kty: string;
  crv?: string;
  xHex: string;
  publicHex?: string;
  yHex: string;
  kHex: string;
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
const IN_THE_TABLES = ['ES256', 'EdDSA', 'HSS-LMS', 'HS256', 'direct'];

const all: Case[] = vectorsPresent ? vectors('cose-examples').cases : [];
const cases = all.filter((each) => each.type in KINDS);
const valid = cases.filter((each) => each.expected === 'valid');
const beyondTheTables = valid.filter((each) => each.algorithms.some((name) => !IN_THE_TABLES.includes(name)));
const within = valid.filter((each) => !beyondTheTables.includes(each));
const withOpenAlg = within.filter((each) => hasOpenAlg(messageOf(each)));

/** As the source's runner does: the kind comes from the file, so untagged messages can be read. */
function messageOf(each: Case): CoseMessage {
  return decodeCose(fromHex(each.cborHex), { requireTag: false, kind: KINDS[each.type]! });
}

function hasOpenAlg(message: CoseMessage): boolean {
  const layers = message.kind === 'sign' ? message.signers.map((each) => each.headers) : [message.headers];
  return layers.some((headers) => headers.entries.some((e) => e.label === LABEL.alg && !e.isProtected));
}

function publicKeyOf(key: KeyVector): PublicKey {
  if (key.publicHex) return readPublicKey(hssSpki(fromHex(key.publicHex))!)!;
  const x = fromHex(key.xHex);
  return readPublicKey(key.crv === 'Ed25519' ? ed25519Spki(x) : p256Spki(x, fromHex(key.yHex))!)!;
}

function aadOf(each: Case, signer: number): Uint8Array {
  return fromHex(each.signerExternalAadHex?.[signer] ?? each.externalAadHex);
}

/** One outcome per signer or recipient: 'ok', a refusal, or the code of the CoseError. */
function outcomesOf(each: Case): string[] {
  try {
    return verdictsOn(messageOf(each), each).map((verdict) => (verdict.ok ? 'ok' : verdict.code));
  } catch (error) {
    if (error instanceof CoseError) return [error.code];
    throw error;
  }
}

function verdictsOn(message: CoseMessage, each: Case) {
  const payload = fromHex(each.plaintextHex);
  const externalAad = aadOf(each, 0);
  const key = each.keys[0]!;
  if (message.kind === 'sign1') return [verifySign1(message, publicKeyOf(key), payload, { externalAad })];
  if (message.kind === 'mac0') return [verifyMac0(message, fromHex(key.kHex), payload, { externalAad })];
  if (message.kind === 'mac') return [verifyMac(message, fromHex(key.kHex), payload, { externalAad })];
  return message.signers.map((signer, i) => {
    const options = { externalAad: aadOf(each, i) };
    return verifySigner(message, signer, publicKeyOf(each.keys[i]!), payload, options);
  });
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
  it('32 of the 60 cases are of our kinds: 20 valid ones, 17 of them by algorithms of the tables', () => {
    expect([all.length, cases.length, valid.length, within.length]).toEqual([60, 32, 20, 17]);
  });

  it.each(valid)(
    '$id: Sig_structure and MAC_structure are the published ones (RFC 9052 4.4, 6.3)',
    (each) => {
      const published = each.intermediates.toBeSignedHex ?? [each.intermediates.toBeMacedHex];
      expect(structuresOf(messageOf(each), each).map(toHex)).toEqual(published);
    },
  );

  it.each(within.filter((each) => !withOpenAlg.includes(each)))('$id verifies', (each) => {
    expect(outcomesOf(each)).toEqual(each.keys.map(() => 'ok'));
  });

  it.each(cases.filter((each) => each.expected === 'invalid'))('$id is refused', (each) => {
    expect(outcomesOf(each)).not.toContain('ok');
  });

  it('three valid cases leave alg unprotected, which RFC 9052 3.1 does not want: refused, though the value fits', () => {
    expect(withOpenAlg.length).toBe(3);
    for (const each of withOpenAlg) {
      expect(outcomesOf(each)).toEqual(['alg-unprotected']);
      expect(primitiveFits(messageOf(each), each)).toBe(true);
    }
  });

  it('skipped, each with its code: HMAC 256/64 (outside the tables), HKDF recipient', () => {
    expect(beyondTheTables.map((each) => [each.id, ...outcomesOf(each)])).toEqual([
      ['CWT/A_7', 'alg-unsupported'],
      ['hkdf-hmac-sha-examples/hmac-sha-256-03', 'recipient-unsupported'],
      ['hmac-examples/HMac-05', 'alg-unsupported'],
    ]);
  });

  it('an encrypted message is named as such', () => {
    const encrypted = all.filter(
      (each) => each.type.startsWith('COSE_Encrypt') && each.cborHex.startsWith('d'),
    );
    for (const each of encrypted)
      expect(outcomesOf({ ...each, type: 'COSE_Sign1' })).toEqual([expect.any(String)]);
    const codes = encrypted.map((each) => outcomesOf({ ...each, type: 'COSE_Sign1' })[0]);
    expect(new Set(codes)).toEqual(new Set(['kind-unsupported']));
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

function primitiveFits(message: CoseMessage, each: Case): boolean {
  const [structure] = structuresOf(message, each);
  const key = each.keys[0]!;
  if (message.kind === 'sign1') return verifySignature(publicKeyOf(key), structure!, message.signature);
  if (message.kind === 'sign') return false;
  return toHex(hmacSha256(fromHex(key.kHex), structure!)) === toHex(message.tagBytes);
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

/**
 * cose-wg/Examples (RFC 9052/9053 appendix C): every Encrypt and Encrypt0. What is outside the tables is refused with a
 * code that says why; every case is in one of the two groups.
 */
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../../src/bytes/index.ts';
import { decode } from '../../../src/cbor/index.ts';
import { kdfContext } from '../../../src/cose/encryption/kdf-context.ts';
import { distributionOf } from '../../../src/cose/encryption/unwrap.ts';
import {
  type AeadAlgorithm,
  CoseError,
  contentAlgorithm,
  decodeEncrypted,
  decryptWhole,
  type EncryptedMessage,
  type KeyUnwrapper,
  type OpenOptions,
  openEncrypt,
  openEncrypt0,
  privateKeyUnwrapper,
  type SharedContentKey,
  sharedKeyUnwrapper,
  wrappingKeyUnwrapper,
} from '../../../src/cose/index.ts';
import { encStructure, encStructure0 } from '../../../src/cose/structures.ts';
import { p256PrivateKey, x25519PrivateKey } from '../../crypto/private-keys.ts';
import { partition, type SkipReason, vectors, vectorsPresent } from '../../vectors.ts';
import { CONTENT } from './support.ts';

interface KeyVector {
  role: string;
  kty: string;
  crv?: string;
  kHex?: string;
  dHex?: string;
}

interface Case {
  id: string;
  type: string;
  algorithms: string[];
  expected: 'valid' | 'invalid';
  cborHex: string;
  plaintextHex: string;
  externalAadHex: string;
  keys: KeyVector[];
  fullIvHex?: string;
  intermediates?: {
    encStructureHex?: string;
    cekHex?: string;
    recipients?: { kdfContextHex?: string; kekHex?: string }[];
  };
}

/** Content algorithm names of the source, and their rows. */
const CONTENT_NAMES: Record<string, number> = {
  A128GCM: 1,
  A192GCM: 2,
  A256GCM: 3,
  'ChaCha-Poly1305': 24,
};
const ALGORITHMS = [...CONTENT, contentAlgorithm(2)!];
const CONVEYED = /^(direct|A(128|192|256)KW|ECDH-ES[-+]A(128|192|256)KW)$/;
const CURVES = ['P-256', 'X25519'];

/** What is outside the tables, as it shows in the case, and the refusals that say so. */
const OUTSIDE: readonly (readonly [...SkipReason<Case>, codes: readonly string[]])[] = [
  ['a partial IV', (each) => each.fullIvHex !== undefined, ['iv-missing']],
  ['another content algorithm', (each) => !(each.algorithms[0]! in CONTENT_NAMES), ['alg-unsupported']],
  [
    'a recipient of a recipient',
    (each) => each.keys.some(({ role }) => role.includes('.')),
    ['recipient-absent', 'recipient-unsupported'],
  ],
  [
    'another way to convey the key',
    (each) => each.type === 'COSE_Encrypt' && !CONVEYED.test(each.algorithms[1]!),
    ['recipient-unsupported'],
  ],
  [
    'a key on another curve',
    (each) => each.keys.some(({ crv }) => crv !== undefined && !CURVES.includes(crv)),
    ['recipient-absent', 'recipient-unsupported'],
  ],
];

const all: Case[] = vectorsPresent ? vectors('cose-examples').cases : [];
const cases = all.filter((each) => each.type.startsWith('COSE_Encrypt'));
const invalid = cases.filter((each) => each.expected === 'invalid');
const { judged: within, skipped } = partition(
  cases.filter((each) => each.expected === 'valid'),
  OUTSIDE.map(([reason, applies]) => [reason, applies] as const),
);
/** RFC 9052 5.3. One published intermediate names a context that does not exist: the message itself is right. */
const CONTEXTS = ['Encrypt', 'Encrypt0'];
const withStructure = within.filter((each) => CONTEXTS.includes(contextOf(each)));

function contextOf({ intermediates }: Case): string {
  const items = decode(fromHex(intermediates?.encStructureHex ?? '80'));
  const first = items.type === 'array' ? items.items[0] : undefined;
  return first?.type === 'text' ? first.value : '';
}

function messageOf(each: Case): EncryptedMessage {
  const kind = each.type === 'COSE_Encrypt' ? 'encrypt' : 'encrypt0';
  return decodeEncrypted(fromHex(each.cborHex), { requireTag: false, kind });
}

function sharedOf(each: Case): SharedContentKey {
  const key = each.keys[0]!;
  const algorithm = contentAlgorithm(CONTENT_NAMES[each.algorithms[0]!]!) as AeadAlgorithm;
  return { algorithm, key: fromHex(key.kHex!) };
}

/** The receiver's keys, each for all that a key of its kind can do; found by trial, as some kids differ in the source. */
function unwrappersOf(each: Case): KeyUnwrapper[] {
  return each.keys
    .filter(({ role }) => role.startsWith('recipient'))
    .flatMap((key) => {
      if (key.crv === 'P-256') return [privateKeyUnwrapper(p256PrivateKey(key.dHex!))];
      if (key.crv === 'X25519') return [privateKeyUnwrapper(x25519PrivateKey(key.dHex!))];
      if (key.kty !== 'oct') return [];
      return [wrappingKeyUnwrapper(fromHex(key.kHex!)), sharedKeyUnwrapper(sharedOf(each))];
    });
}

/** The keys of a case are held for the one algorithm that the source names: alg may then stand unprotected. */
function outcomeOf(each: Case): string {
  const keyAlgorithm = contentAlgorithm(CONTENT_NAMES[each.algorithms[0]!] ?? 0);
  return outcomeWith(each, keyAlgorithm && { keyAlgorithm });
}

/** The plaintext in hexadecimal, or the code it was refused with. */
function outcomeWith(each: Case, held: Pick<OpenOptions, 'keyAlgorithm'> = {}): string {
  try {
    const message = messageOf(each);
    const options = { algorithms: ALGORITHMS, externalAad: fromHex(each.externalAadHex), ...held };
    const aead = { ...options, algorithms: ALGORITHMS.filter((row) => row.mode === 'aead') };
    const opened =
      message.kind === 'encrypt'
        ? openEncrypt(message, unwrappersOf(each), aead)
        : openEncrypt0(message, sharedOf(each), aead);
    if (!opened.ok) return opened.code;
    const outcome = decryptWhole(opened.content, message.ciphertext!);
    return outcome.ok ? toHex(outcome.plaintext) : outcome.code;
  } catch (error) {
    if (error instanceof CoseError) return error.code;
    throw error;
  }
}

describe.skipIf(!vectorsPresent)('cose-wg/Examples, encrypted', () => {
  it('holds cases that are judged', () => expect(within.length + invalid.length).toBeGreaterThan(0));

  it.each(within)('$id decrypts', (each) => expect(outcomeOf(each)).toBe(each.plaintextHex));

  it.each(within)('$id: alg is protected, or refused where the key is not held for it', (each) => {
    const open = messageOf(each).headers.entries.some(
      ({ label, isProtected }) => label === 1 && !isProtected,
    );
    expect(outcomeWith(each)).toBe(open ? 'alg-unprotected' : each.plaintextHex);
  });

  it.each(withStructure)('$id: Enc_structure is the published one (RFC 9052 5.3)', (each) => {
    const message = messageOf(each);
    const structure = message.kind === 'encrypt' ? encStructure : encStructure0;
    const found = structure(message.headers.protectedBytes, fromHex(each.externalAadHex));
    expect(toHex(found)).toBe(each.intermediates!.encStructureHex);
  });

  it.each(invalid)('$id is refused', (each) => {
    expect(outcomeOf(each)).not.toMatch(/^[0-9a-f]*$/);
  });

  it.each(skipped)('$entry.id is skipped, $reason, and the refusal says so', ({ entry }) => {
    const codes = OUTSIDE.flatMap(([, applies, codes]) => (applies(entry) ? codes : []));
    expect(codes).toContain(outcomeOf(entry));
  });

  const agreed = within.filter((each) => /^ECDH-ES/.test(each.algorithms[1] ?? ''));
  it.each(agreed)('$id: COSE_KDF_Context is the published one (RFC 9053 5.2)', (each) => {
    const message = messageOf(each);
    if (message.kind !== 'encrypt') return expect.unreachable();
    const { headers } = message.recipients[0]!;
    const algorithm = distributionOf(headers)!;
    if (algorithm.kind !== 'agreement') return expect.unreachable();
    const published = each.intermediates!.recipients![0]!.kdfContextHex;
    expect(toHex(kdfContext({ algorithm, headers }))).toBe(published);
  });

  it('a flipped bit anywhere in a valid message gives another plaintext never', () => {
    for (const each of within) {
      for (let bit = 0; bit < each.cborHex.length * 4; bit += 11) {
        const bytes = fromHex(each.cborHex);
        bytes[bit >> 3]! ^= 1 << (bit & 7);
        const outcome = outcomeOf({ ...each, cborHex: toHex(bytes) });
        // kid and the ephemeral key's other form are open to change; the plaintext is then the same one.
        if (outcome !== each.plaintextHex)
          expect(outcome, `${each.id} bit ${bit}`).not.toMatch(/^[0-9a-f]*$/);
      }
    }
  });
});

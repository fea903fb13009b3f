import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { readPublicKey, verifySignature } from '../../src/crypto/index.ts';
import { ecdsaFromRaw, ecdsaToRaw, readSubjectKey } from '../../src/x509/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';
import { testKey } from './support.ts';

describe.skipIf(!vectorsPresent)('Wycheproof ecdsa_secp256r1_sha256: DER signatures', () => {
  interface Group {
    publicKeyDer: string;
    tests: { tcId: number; flags: string[]; msg: string; sig: string; result: string }[];
  }
  const groups: Group[] = vectorsPresent ? vectors('wycheproof-ecdsa-p256-sha256-der').testGroups : [];
  const cases = groups.flatMap(({ publicKeyDer, tests }) =>
    tests.map((entry) => ({ publicKeyDer, ...entry })),
  );

  test('every case: valid ones verify, invalid ones do not', () => {
    const wrong = cases.filter(({ publicKeyDer, msg, sig, result }) => {
      const key = readSubjectKey(fromHex(publicKeyDer))!;
      const raw = ecdsaToRaw(fromHex(sig));
      const verified = raw !== undefined && verifySignature(key, fromHex(msg), raw);
      return verified !== (result === 'valid');
    });
    expect(wrong.map(({ tcId, flags }) => [tcId, flags])).toEqual([]);
    expect(cases.length).toBeGreaterThan(0);
  });

  test('a valid one written again is the same', () => {
    const valid = cases.filter(({ result }) => result === 'valid').map(({ sig }) => sig);
    expect(valid.map((sig) => toHex(ecdsaFromRaw(ecdsaToRaw(fromHex(sig))!)))).toEqual(valid);
  });
});

describe.skipIf(!vectorsPresent)('Wycheproof ecdh_secp256r1: SubjectPublicKeyInfo', () => {
  interface Entry {
    public: string;
    result: string;
    flags: string[];
  }
  const groups: { tests: Entry[] }[] = vectorsPresent ? vectors('wycheproof-ecdh-p256-spki').testGroups : [];
  const entries = groups.flatMap(({ tests }) => tests);

  test('only the named curve with an uncompressed point is a key here; nothing invalid is', () => {
    const read = entries.filter((entry) => readSubjectKey(fromHex(entry.public)) !== undefined);
    expect(read.filter(({ result }) => result === 'invalid')).toEqual([]);
    const named = '3059301306072a8648ce3d020106082a8648ce3d03010703420004';
    expect(entries.filter((entry) => entry.result === 'valid' && !read.includes(entry))).toEqual([]);
    expect(read.every((entry) => entry.public.startsWith(named))).toBe(true);
    expect(read.length).toBeGreaterThan(0);
  });
});

describe('RFC 3279 2.2.3: ECDSA-Sig-Value', () => {
  const raw = fc.uint8Array({ minLength: 64, maxLength: 64 });

  test('64 bytes to DER and back', () => {
    fc.assert(
      fc.property(raw, (bytes) => {
        expect(ecdsaToRaw(ecdsaFromRaw(bytes))).toEqual(bytes);
      }),
    );
  });

  test('r and s keep their places when they are short, and when their first bit is set', () => {
    const bytes = new Uint8Array(64);
    bytes[31] = 1;
    bytes[32] = 0x80;
    expect(toHex(ecdsaFromRaw(bytes))).toBe(`3026020101022100${'80'.padEnd(64, '0')}`);
  });

  test('any bytes: a raw signature or nothing', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 80 }), (bytes) => {
        expect(ecdsaToRaw(bytes)?.length ?? 64).toBe(64);
      }),
    );
  });

  test('64 raw bytes in place of DER are not taken', () => {
    fc.assert(
      fc.property(
        raw.filter((bytes) => bytes[0] !== 0x30),
        (bytes) => ecdsaToRaw(bytes) === undefined,
      ),
    );
  });
});

test('RFC 5480 2.2: a P-256 point in compressed or hybrid form is no key here', () => {
  const compressed = fromHex(
    '3039301306072a8648ce3d020106082a8648ce3d030107032200036b17d1f2e12c4247f8bce6e563a440f277037d812deb33a0f4a13945d898c296',
  );
  expect(readPublicKey(compressed)?.type).toBe('p256');
  expect(readSubjectKey(compressed)).toBeUndefined();
  const { spki } = testKey();
  const hybrid = spki.slice();
  hybrid[26] = 6 + (spki[90]! & 1);
  expect(readSubjectKey(hybrid)).toBeUndefined();
  expect(readSubjectKey(spki)?.type).toBe('p256');
});

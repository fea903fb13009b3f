/** Key agreement and key derivation: worked examples inline, published vector files where they are at hand. */
import { generateKeyPairSync } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import {
  agreementPrivateKey,
  agreeSecret,
  generateAgreementKey,
  hkdfSha256,
  p256Spki,
  publicCoordinates,
  readAgreementKey,
  readAgreementPrivateKey,
  x25519Spki,
} from '../../src/crypto/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';
import { p256PrivateKey, x25519PrivateKey } from './private-keys.ts';

const hkdf = (ikm: string, salt: string, info: string, length: number) =>
  toHex(hkdfSha256(fromHex(ikm), fromHex(salt), fromHex(info), length));

describe('RFC 5869 A.1 and A.3: HKDF with SHA-256', () => {
  const ikm = '0b'.repeat(22);
  it('with salt and info', () => {
    expect(hkdf(ikm, '000102030405060708090a0b0c', 'f0f1f2f3f4f5f6f7f8f9', 42)).toBe(
      '3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf34007208d5b887185865',
    );
  });
  it('without', () => {
    expect(hkdf(ikm, '', '', 42)).toBe(
      '8da4e775a563c18f715f802a063c5a31b8a11f5c5ee1879ec3454e5f3c738d2d9d201395faa4b61a96c8',
    );
  });
  it('2.3: no more than 255 times 32 bytes', () => {
    expect(hkdf(ikm, '', '', 8160).length).toBe(2 * 8160);
    expect(() => hkdf(ikm, '', '', 8161)).toThrow();
  });
});

/** RFC 5903 section 8.1: private and public values of initiator and responder, and the shared secret. */
const GROUP_19 = {
  i: 'c88f01f510d9ac3f70a292daa2316de544e9aab8afe84049c62a9c57862d1433',
  r: 'c6ef9c5d78ae012a011164acb397ce2088685d8f06bf9be0b283ab46476bee53',
  secret: 'd6840f6b42f6edafd13116e0e12565202fef8e9ece7dce03812464d04b9442de',
};
describe('key agreement', () => {
  it('RFC 5903 8.1: P-256, both sides reach the published secret', () => {
    const [i, r] = [p256PrivateKey(GROUP_19.i), p256PrivateKey(GROUP_19.r)];
    expect(toHex(agreeSecret(i, r.publicKey)!)).toBe(GROUP_19.secret);
    expect(toHex(agreeSecret(r, i.publicKey)!)).toBe(GROUP_19.secret);
  });
  it('RFC 7748 5.2: X25519, the first single step', () => {
    const own = x25519PrivateKey('a546e36bf0527c9d3b16154b82465edd62144c0ac1fc5a18506a2244ba449ac4');
    const u = x25519Spki(fromHex('e6db6867583030db3594c1a424b15f7c726624ec26b3353b10a903a6d0ab1c4c'));
    expect(toHex(agreeSecret(own, readAgreementKey(u)!)!)).toBe(
      'c3da55379de9c6908e94ea4df28d084f32eccf03491c71f754b4075577a28552',
    );
  });
  it('RFC 7748 6.1: an all-zero output is no secret', () => {
    const zero = readAgreementKey(x25519Spki(new Uint8Array(32)))!;
    expect(agreeSecret(generateAgreementKey('x25519'), zero)).toBeUndefined();
  });
  it('keys on two curves agree on nothing', () => {
    const [p256, x25519] = [generateAgreementKey('p256'), generateAgreementKey('x25519')];
    expect(agreeSecret(p256, x25519.publicKey)).toBeUndefined();
    expect(agreeSecret(x25519, p256.publicKey)).toBeUndefined();
  });
  it('a fresh key is on the curve asked for, and another one each time', () => {
    for (const curve of ['p256', 'x25519'] as const) {
      const [a, b] = [generateAgreementKey(curve), generateAgreementKey(curve)];
      expect([a.curve, a.publicKey.curve]).toEqual([curve, curve]);
      expect(toHex(a.publicKey.spki)).not.toBe(toHex(b.publicKey.spki));
      expect(agreeSecret(a, b.publicKey)).toEqual(agreeSecret(b, a.publicKey));
    }
  });
  it('coordinates have 32 bytes each, y on P-256 only', () => {
    const { x, y } = publicCoordinates(generateAgreementKey('p256').publicKey);
    expect([x.length, y?.length]).toEqual([32, 32]);
    const u = publicCoordinates(generateAgreementKey('x25519').publicKey);
    expect([u.x.length, u.y]).toEqual([32, undefined]);
  });
  it('other keys are refused, and the error says nothing of them', () => {
    const ed25519 = generateKeyPairSync('ed25519').privateKey;
    expect(() => agreementPrivateKey(ed25519)).toThrow(TypeError);
    const p384 = generateKeyPairSync('ec', { namedCurve: 'P-384' }).privateKey;
    expect(() => agreementPrivateKey(p384)).toThrow(TypeError);
    expect(() => readAgreementPrivateKey(fromHex('300a020100c0ffee'))).toThrow(/damaged/);
    expect(readAgreementKey(fromHex(`302a300506032b6570032100${'09'.repeat(32)}`))).toBeUndefined();
    expect(readAgreementKey(fromHex(`302a300506032b656e032100${'09'.repeat(33)}`))).toBeUndefined();
  });
});

/** SEC1 point to SubjectPublicKeyInfo, as a COSE_Key gives it: coordinates, or x and the sign of y. */
function spkiOfPoint(point: Uint8Array): Uint8Array | undefined {
  const x = point.subarray(1, 33);
  if (point.length === 65 && point[0] === 4) return p256Spki(x, point.subarray(33));
  if (point.length === 33 && (point[0] === 2 || point[0] === 3)) return p256Spki(x, point[0] === 3);
  return undefined;
}

describe.skipIf(!vectorsPresent)('published vector files', () => {
  it('RFC 5869 appendix A, RFC 7748 5.2: every case', () => {
    for (const each of vectors('rfc5869-hkdf-sha256').cases) {
      expect(hkdf(each.ikmHex, each.saltHex, each.infoHex, each.length)).toBe(each.okmHex);
    }
    for (const { scalarHex, uHex, outHex } of vectors('rfc7748-x25519').cases) {
      const other = readAgreementKey(x25519Spki(fromHex(uHex)))!;
      expect(toHex(agreeSecret(x25519PrivateKey(scalarHex), other)!)).toBe(outHex);
    }
  });

  it('wycheproof-hkdf-sha256: every case', () => {
    let judged = 0;
    for (const { tests } of vectors('wycheproof-hkdf-sha256').testGroups) {
      for (const { tcId, ikm, salt, info, size, okm, result } of tests) {
        const derive = () => hkdf(ikm, salt, info, size);
        if (result === 'acceptable') continue;
        if (result === 'valid') expect(derive(), `tcId ${tcId}`).toBe(okm);
        else expect(derive, `tcId ${tcId}`).toThrow();
        judged++;
      }
    }
    expect(judged).toBeGreaterThan(0);
  });

  it.each<[string, (bytes: Uint8Array) => Uint8Array | undefined]>([
    ['wycheproof-ecdh-p256-ecpoint', spkiOfPoint],
    ['wycheproof-ecdh-p256-spki', (bytes) => bytes],
  ])(
    '%s: valid ones agree, invalid ones do not, acceptable ones never reach another secret',
    (file, spkiOf) => {
      let judged = 0;
      for (const { tests } of vectors(file).testGroups) {
        for (const test of tests) {
          const spki = spkiOf(fromHex(test.public));
          const other = spki && readAgreementKey(spki);
          const secret = other && agreeSecret(p256PrivateKey(test.private), other);
          const found = secret && toHex(secret);
          if (test.result === 'acceptable') expect([undefined, test.shared]).toContain(found);
          else expect(found, `tcId ${test.tcId}`).toBe(test.result === 'valid' ? test.shared : undefined);
          judged++;
        }
      }
      expect(judged).toBeGreaterThan(0);
    },
  );

  it('wycheproof-x25519: valid ones agree; acceptable ones agree or give no secret, all zero never', () => {
    for (const { tests } of vectors('wycheproof-x25519').testGroups) {
      for (const test of tests) {
        const other = readAgreementKey(x25519Spki(fromHex(test.public)))!;
        const secret = agreeSecret(x25519PrivateKey(test.private), other);
        const found = secret && toHex(secret);
        if (test.result === 'valid') expect(found, `tcId ${test.tcId}`).toBe(test.shared);
        else expect([undefined, test.shared], `tcId ${test.tcId}`).toContain(found);
        expect(found).not.toBe('00'.repeat(32));
      }
    }
  });
});

/** src/crypto against published vectors; each block names its document. */
import { describe, expect, it } from 'vitest';
import { concat, fromHex, fromUtf8, toHex } from '../../src/bytes/index.ts';
import {
  ed25519Spki,
  equalInConstantTime,
  hmacSha256,
  p256Spki,
  randomBytes,
  readPublicKey,
  sha1ForNames,
  sha256,
  startSha256,
  verifySignature,
} from '../../src/crypto/index.ts';
import { ecdsaToRaw } from '../../src/x509/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';

const p256 = (x: string, y: string) => readPublicKey(p256Spki(fromHex(x), fromHex(y))!)!;
const of = (name: string) => (vectorsPresent ? vectors(name) : { cases: [], testGroups: [] });

describe('RFC 6979 A.2.5: ECDSA P-256 with SHA-256, "sample"', () => {
  const key = p256(
    '60fed4ba255a9d31c961eb74c6356d68c049b8923b61fa6ce669622e60f29fb6',
    '7903fe1008b8bc99a41ae9e95628bc64f2f1b20c2d7e9f5177a3c294d4462299',
  );
  const r = 'efd48b2aacb6a8fd1140dd9cd45e81d69d2c877b56aaf991c34d0ea84eaf3716';
  const s = 'f7cb1c942d657c41d436c7a1b6e29f65f3e900dbb9aff4064dc4ab2f843acda8';
  it('verifies as r||s', () => {
    expect(verifySignature(key, fromUtf8('sample'), fromHex(r + s))).toBe(true);
  });
  it('not with another message, with r and s exchanged, with zeros, or as DER', () => {
    expect(verifySignature(key, fromUtf8('test'), fromHex(r + s))).toBe(false);
    expect(verifySignature(key, fromUtf8('sample'), fromHex(s + r))).toBe(false);
    expect(verifySignature(key, fromUtf8('sample'), new Uint8Array(64))).toBe(false);
    expect(verifySignature(key, fromUtf8('sample'), fromHex(`3046022100${r}022100${s}`))).toBe(false);
  });
});

describe('RFC 8032 7.1: Ed25519, TEST 1 and TEST 3', () => {
  it.each([
    [
      'd75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a',
      '',
      'e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b',
    ],
    [
      'fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025',
      'af82',
      '6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a',
    ],
  ])('%s', (publicKey, message, signature) => {
    const key = readPublicKey(ed25519Spki(fromHex(publicKey)))!;
    expect(verifySignature(key, fromHex(message), fromHex(signature))).toBe(true);
    expect(verifySignature(key, fromHex(`${message}00`), fromHex(signature))).toBe(false);
  });
});

describe('RFC 4231 4.2, FIPS 180-4', () => {
  it('HMAC-SHA-256, test case 1', () => {
    expect(toHex(hmacSha256(new Uint8Array(20).fill(0x0b), fromUtf8('Hi '), fromUtf8('There')))).toBe(
      'b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7',
    );
  });
  it('SHA-256 of "abc", in one piece and in several', () => {
    const digest = 'ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad';
    expect(toHex(sha256(fromUtf8('abc')))).toBe(digest);
    expect(toHex(sha256(fromUtf8('a'), new Uint8Array(0), fromUtf8('bc')))).toBe(digest);
    const running = startSha256();
    for (const letter of 'abc') running.update(fromUtf8(letter));
    expect(toHex(running.digest())).toBe(digest);
  });
  it('SHA-1 of "abc" (FIPS 180-4 examples), for names only', () => {
    expect(toHex(sha1ForNames(fromUtf8('a'), fromUtf8('bc')))).toBe(
      'a9993e364706816aba3e25717850c26c9cd0d89d',
    );
  });
  it('random bytes come in the length asked for, and not twice', () => {
    expect(randomBytes(0).length).toBe(0);
    expect(toHex(randomBytes(32))).not.toBe(toHex(randomBytes(32)));
  });
  it('equal in constant time: equal bytes, other bytes, other lengths', () => {
    const tag = fromHex('00ff');
    expect(
      [fromHex('00ff'), fromHex('00fe'), fromHex('00'), fromHex('')].map((b) => equalInConstantTime(tag, b)),
    ).toEqual([true, false, false, false]);
  });
});

describe('RFC 5480 2, RFC 8410 4: one key has one SubjectPublicKeyInfo per point form', () => {
  const x = '60fed4ba255a9d31c961eb74c6356d68c049b8923b61fa6ce669622e60f29fb6';
  const y = '7903fe1008b8bc99a41ae9e95628bc64f2f1b20c2d7e9f5177a3c294d4462299';
  const algorithm = '301306072a8648ce3d020106082a8648ce3d030107';
  const ed25519 = '302a300506032b6570032100d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a';
  const reads = (hex: string) => readPublicKey(fromHex(hex))?.type;

  it('uncompressed, compressed and Ed25519 are read', () => {
    expect(reads(`3059${algorithm}03420004${x}${y}`)).toBe('p256');
    expect(reads(`3039${algorithm}03220003${x}`)).toBe('p256');
    expect(reads(ed25519)).toBe('ed25519');
  });
  it.each([
    ['hybrid form', `3059${algorithm}03420007${x}${y}`],
    ['unused bits', `3059${algorithm}03420104${x}${y}`],
    ['bytes after the end', `3059${algorithm}03420004${x}${y}00`],
    ['a long-form length', `308159${algorithm}03420004${x}${y}`],
    ['a point off the curve', `3059${algorithm}03420004${y}${x}`],
    ['the point at infinity', `3019${algorithm}03020000`],
    ['Ed25519 with bytes after the end', `${ed25519}00`],
    ['Ed25519 cut short', ed25519.slice(0, -2)],
    ['Ed25519 with NULL parameters', ed25519.replace('302a300506032b6570', '302c300706032b65700500')],
    ['X25519', ed25519.replace('2b6570', '2b656e')],
    ['nothing', ''],
  ])('%s is not', (_, hex) => expect(reads(hex)).toBeUndefined());
  it('coordinates give the point, a sign bit its one or other root', () => {
    const whole = `3059${algorithm}03420004${x}${y}`;
    expect(toHex(p256Spki(fromHex(x), fromHex(y))!)).toBe(whole);
    expect(toHex(p256Spki(fromHex(x), true)!)).toBe(whole);
    expect(toHex(p256Spki(fromHex(x), false)!)).not.toBe(whole);
    expect(p256Spki(fromHex(y), fromHex(x))).toBeUndefined();
    expect(p256Spki(fromHex(x).subarray(1), fromHex(y))).toBeUndefined();
  });
  it('the same bytes give the same parsed key', () => {
    expect(readPublicKey(fromHex(ed25519))).toBe(readPublicKey(fromHex(ed25519)));
  });
});

/** Cases of a Wycheproof file, each with its group; 'acceptable' ones are not graded. */
// biome-ignore lint/suspicious/noExplicitAny: each file has a shape of its own
function wycheproof(name: string): { group: any; test: any; title: string }[] {
  return of(name).testGroups.flatMap(
    (group: { tests: { tcId: number; flags: string[]; result: string }[] }) =>
      group.tests
        .filter((test) => test.result !== 'acceptable')
        .map((test) => ({ group, test, title: `tcId ${test.tcId} ${test.result} ${test.flags.join(' ')}` })),
  );
}

describe.skipIf(!vectorsPresent)('published vector files', () => {
  describe('Wycheproof: ECDSA P-256 with SHA-256, r||s', () => {
    const cases = wycheproof('wycheproof-ecdsa-p256-sha256-p1363');
    it('are there', () => expect(cases.length).toBeGreaterThan(0));
    it.each(cases)('$title', ({ group, test }) => {
      const key = readPublicKey(fromHex(group.publicKeyDer))!;
      expect(verifySignature(key, fromHex(test.msg), fromHex(test.sig))).toBe(test.result === 'valid');
    });
  });

  describe('Wycheproof: ECDSA P-256 with SHA-256, DER, read as certificates are', () => {
    const cases = wycheproof('wycheproof-ecdsa-p256-sha256-der');
    it('are there', () => expect(cases.length).toBeGreaterThan(0));
    it.each(cases)('$title', ({ group, test }) => {
      const key = readPublicKey(fromHex(group.publicKeyDer))!;
      const raw = ecdsaToRaw(fromHex(test.sig));
      const verified = raw !== undefined && verifySignature(key, fromHex(test.msg), raw);
      expect(verified).toBe(test.result === 'valid');
    });
  });

  describe('Wycheproof: Ed25519', () => {
    const cases = wycheproof('wycheproof-ed25519');
    it('are there', () => expect(cases.length).toBeGreaterThan(0));
    it.each(cases)('$title', ({ group, test }) => {
      const key = readPublicKey(fromHex(group.publicKeyDer))!;
      expect(toHex(ed25519Spki(fromHex(group.publicKey.pk)))).toBe(group.publicKeyDer);
      expect(verifySignature(key, fromHex(test.msg), fromHex(test.sig))).toBe(test.result === 'valid');
    });
  });

  describe('Wycheproof: HMAC-SHA-256, whole and truncated tags of the source', () => {
    const cases = wycheproof('wycheproof-hmac-sha256');
    it('are there', () => expect(cases.length).toBeGreaterThan(0));
    it.each(cases)('$title', ({ group, test }) => {
      const tag = hmacSha256(fromHex(test.key), fromHex(test.msg)).subarray(0, group.tagSize / 8);
      expect(equalInConstantTime(tag, fromHex(test.tag))).toBe(test.result === 'valid');
    });
  });

  describe('NIST CAVP: ECDSA P-256 with SHA-256', () => {
    const cases = of('nist-cavp-ecdsa-p256-sha256').cases;
    it('are there', () => expect(cases.length).toBeGreaterThan(0));
    it.each(
      cases as {
        id: string;
        xHex: string;
        yHex: string;
        msgHex: string;
        rHex: string;
        sHex: string;
        expected?: string;
      }[],
    )('$id', ({ xHex, yHex, msgHex, rHex, sHex, expected }) => {
      const spki = p256Spki(fromHex(xHex), fromHex(yHex));
      const key = spki && readPublicKey(spki);
      const verified = key !== undefined && verifySignature(key, fromHex(msgHex), fromHex(rHex + sHex));
      expect(verified).toBe(expected !== 'invalid');
    });
  });

  describe('RFC 8032 7.1, RFC 6979 A.2.5, RFC 4231 4', () => {
    it.each(
      of('rfc8032-ed25519').cases as {
        id: string;
        publicKeyHex: string;
        msgHex: string;
        signatureHex: string;
      }[],
    )('$id', ({ publicKeyHex, msgHex, signatureHex }) => {
      const key = readPublicKey(ed25519Spki(fromHex(publicKeyHex)))!;
      expect(verifySignature(key, fromHex(msgHex), fromHex(signatureHex))).toBe(true);
    });
    it.each(
      of('rfc6979-ecdsa-p256-sha256').cases as Record<
        'id' | 'xHex' | 'yHex' | 'msgHex' | 'rHex' | 'sHex',
        string
      >[],
    )('$id', ({ xHex, yHex, msgHex, rHex, sHex }) => {
      expect(verifySignature(p256(xHex, yHex), fromHex(msgHex), fromHex(rHex + sHex))).toBe(true);
    });
    it.each(
      of('rfc4231-hmac-sha256').cases as {
        id: string;
        keyHex: string;
        msgHex: string;
        macHex: string;
        macBytes: number;
      }[],
    )('$id', ({ keyHex, msgHex, macHex, macBytes }) => {
      expect(toHex(hmacSha256(fromHex(keyHex), fromHex(msgHex)).subarray(0, macBytes))).toBe(macHex);
    });
  });

  describe('SHA-256: FIPS 180-2 Appendix B, NIST CAVP', () => {
    const cases: {
      id: string;
      msgHex?: string;
      msgRepeat?: { unitHex: string; count: number };
      digestHex: string;
    }[] = of('sha256').cases;
    it('are there', () => expect(cases.length).toBeGreaterThan(0));
    it.each(cases)('$id, whole and in pieces of 61 bytes', ({ msgHex, msgRepeat, digestHex }) => {
      const message = msgRepeat
        ? fromHex(msgRepeat.unitHex.repeat(msgRepeat.count))
        : concat(fromHex(msgHex!));
      expect(toHex(sha256(message))).toBe(digestHex);
      const running = startSha256();
      for (let at = 0; at < message.length; at += 61) running.update(message.subarray(at, at + 61));
      expect(toHex(running.digest())).toBe(digestHex);
    });
  });
});

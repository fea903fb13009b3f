/** HSS/LMS: RFC 8554, RFC 9858; SubjectPublicKeyInfo by RFC 9802. Every key here is made for the test. */
import fc from 'fast-check';
import { afterEach, describe, expect, it, vi } from 'vitest';
import { concat, equal, fromHex, toHex } from '../../src/bytes/index.ts';
import {
  HssTrees,
  hssCapacity,
  hssCost,
  hssShape,
  hssShapeNames,
  hssShapeText,
  hssSpki,
  parseHssShape,
  readPublicKey,
  sha256,
  spentLeaf,
  type TreeStore,
  verifySignature,
} from '../../src/crypto/index.ts';

const MESSAGE = Uint8Array.of(1, 2, 3);

function signerOf(text: string, options: { store?: TreeStore; master?: number } = {}) {
  const shape = parseHssShape(text)!;
  const master = new Uint8Array(32).fill(options.master ?? 0x42);
  const trees = new HssTrees({ shape, master }, options);
  return { shape, trees, key: readPublicKey(hssSpki(trees.publicKey())!)! };
}

function keptInMemory(): TreeStore & { readonly kept: Map<number, Uint8Array>; saved: number } {
  const kept = new Map<number, Uint8Array>();
  return {
    kept,
    saved: 0,
    load: (level) => kept.get(level)?.slice(),
    save(level, bytes) {
      this.saved++;
      kept.set(level, bytes.slice());
    },
  };
}

describe('RFC 8554 4 to 6, RFC 9858: what is signed here verifies', () => {
  const single = ['H5/W1', 'H5/W2', 'H5/W4', 'H5/W8', 'N24/H5/W1', 'N24/H5/W2', 'N24/H5/W4', 'N24/H5/W8'];
  it.each(single)('%s: the first and the last leaf', (text) => {
    const { shape, trees, key } = signerOf(text);
    for (const leaf of [0n, 31n]) {
      const signature = trees.sign(leaf, MESSAGE);
      expect(signature).toHaveLength(hssCost(shape).signatureBytes);
      expect(verifySignature(key, MESSAGE, signature)).toBe(true);
      expect(spentLeaf(key, signature)).toEqual({ leaf, capacity: 32n });
    }
  });

  it.each(['H5/W2,H5/W4', 'H10/W2,H5/W1', 'N24/H5/W4,N24/H5/W2', 'H5/W2,H5/W2,H5/W2'])(
    '%s: leaves on both sides of a tree change, first and last',
    (text) => {
      const { shape, trees, key } = signerOf(text);
      const last = hssCapacity(shape) - 1n;
      for (const leaf of [0n, 31n, 32n, last]) {
        const signature = trees.sign(leaf, MESSAGE);
        expect(signature).toHaveLength(hssCost(shape).signatureBytes);
        expect(verifySignature(key, MESSAGE, signature), `leaf ${leaf}`).toBe(true);
        expect(spentLeaf(key, signature)?.leaf).toBe(leaf);
      }
    },
  );

  it('eight levels, the most that RFC 8554 section 6 allows', () => {
    const { trees, key } = signerOf(Array(8).fill('H5/W2').join(','));
    expect(verifySignature(key, MESSAGE, trees.sign(2n ** 40n - 1n, MESSAGE))).toBe(true);
  });

  it('there is no leaf beyond the last, and none below 0', () => {
    const { trees } = signerOf('H5/W4');
    expect(() => trees.sign(32n, MESSAGE)).toThrow(RangeError);
    expect(() => trees.sign(-1n, MESSAGE)).toThrow(RangeError);
  });

  it('any message at any leaf; and not for another message, another leaf or another key', () => {
    const { trees, key } = signerOf('H5/W4,H5/W4');
    const stranger = signerOf('H5/W4,H5/W4', { master: 0x43 }).key;
    const leaves = fc.bigInt({ min: 0n, max: 1023n });
    fc.assert(
      fc.property(leaves, fc.uint8Array({ maxLength: 200 }), (leaf, message) => {
        const signature = trees.sign(leaf, message);
        expect(verifySignature(key, message, signature)).toBe(true);
        expect(verifySignature(key, concat(message, Uint8Array.of(0)), signature)).toBe(false);
        expect(verifySignature(stranger, message, signature)).toBe(false);
      }),
      { numRuns: 30 },
    );
  });

  it('a signature with any bit changed, and any string of bytes, is refused without an error', () => {
    const { trees, key } = signerOf('N24/H5/W4,N24/H5/W4');
    const signature = trees.sign(77n, MESSAGE);
    const bits = fc.nat(signature.length * 8 - 1);
    fc.assert(
      fc.property(bits, (bit) => {
        const changed = signature.slice();
        changed[bit >> 3]! ^= 1 << (bit & 7);
        expect(verifySignature(key, MESSAGE, changed)).toBe(false);
      }),
      { numRuns: 150 },
    );
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 4000 }), fc.nat(signature.length), (tail, cut) => {
        const other = concat(signature.subarray(0, cut), tail);
        fc.pre(!equal(other, signature));
        expect(verifySignature(key, MESSAGE, other)).toBe(false);
      }),
    );
  });

  it('one level taken from another signature of the same key is refused', () => {
    const { trees, key, shape } = signerOf('H5/W4,H5/W4');
    const [a, b] = [trees.sign(1n, MESSAGE), trees.sign(33n, MESSAGE)];
    const lower = (hssCost(shape).signatureBytes - 4 - 56) / 2;
    expect(verifySignature(key, MESSAGE, concat(a.subarray(0, -lower), b.subarray(-lower)))).toBe(false);
  });
});

describe('RFC 8554 9.2: a one-time key never signs two different things', () => {
  it('the same leaf over the same message gives the same signature, from trees grown anew too', () => {
    const first = signerOf('H5/W4,H5/W4').trees.sign(40n, MESSAGE);
    expect(toHex(signerOf('H5/W4,H5/W4').trees.sign(40n, MESSAGE))).toBe(toHex(first));
  });

  it('a lower tree is signed once: what stands above the last level is the same for all its leaves', () => {
    const { trees } = signerOf('H5/W4,H5/W4');
    const upper = (leaf: bigint) => toHex(trees.sign(leaf, Uint8Array.of(Number(leaf))).subarray(0, 2400));
    expect(upper(1n)).toBe(upper(0n));
    trees.sign(32n, MESSAGE);
    expect(upper(31n)).toBe(upper(0n));
  });

  it('identifiers, seeds and randomizers differ from tree to tree and leaf to leaf', () => {
    const { trees } = signerOf('H5/W4,H5/W4');
    const randomizer = (leaf: bigint) => toHex(trees.sign(leaf, MESSAGE).subarray(-2348, -2316));
    const found = [0n, 1n, 2n, 32n, 33n].map(randomizer);
    expect(new Set(found).size).toBe(found.length);
  });
});

describe('kept trees', () => {
  it('are used instead of growing them anew; signatures are the same', () => {
    const store = keptInMemory();
    const first = toHex(signerOf('H5/W4,H5/W4', { store }).trees.sign(5n, MESSAGE));
    expect(store.saved).toBe(2);
    const again = signerOf('H5/W4,H5/W4', { store });
    expect(toHex(again.trees.sign(5n, MESSAGE))).toBe(first);
    expect(store.saved).toBe(2);
  });

  it.each([0, 1])(
    'level %i changed by a bit, cut, or of another key: grown anew, same signatures',
    (level) => {
      const store = keptInMemory();
      const first = toHex(signerOf('H5/W4,H5/W4', { store }).trees.sign(5n, MESSAGE));
      const good = store.kept.get(level)!;
      const changed = good.slice();
      changed[40]! ^= 1;
      const foreign = keptInMemory();
      signerOf('H5/W4,H5/W4', { store: foreign, master: 9 }).trees.sign(5n, MESSAGE);
      for (const bad of [changed, good.subarray(1), new Uint8Array(0), foreign.kept.get(level)!]) {
        store.kept.set(level, bad);
        expect(toHex(signerOf('H5/W4,H5/W4', { store }).trees.sign(5n, MESSAGE))).toBe(first);
        expect(toHex(store.kept.get(level)!)).toBe(toHex(good));
      }
    },
  );

  it('a lower tree of another place is not taken for this one', () => {
    const store = keptInMemory();
    signerOf('H5/W4,H5/W4', { store }).trees.sign(5n, MESSAGE);
    const { trees, key } = signerOf('H5/W4,H5/W4', { store });
    expect(verifySignature(key, MESSAGE, trees.sign(32n, MESSAGE))).toBe(true);
    expect(store.saved).toBe(3);
  });

  it('hold no secret: their bytes are public keys, hashes of them and a tag', () => {
    const store = keptInMemory();
    signerOf('H5/W4', { store });
    expect(store.kept.get(0)).toHaveLength(64 * 32 + 32);
    const root = store.kept.get(0)!.subarray(32, 64);
    expect(toHex(signerOf('H5/W4').trees.publicKey())).toContain(toHex(root));
  });

  it('growing tells how far it is', () => {
    const steps: [number, number][] = [];
    const shape = parseHssShape('H5/W4')!;
    new HssTrees(
      { shape, master: new Uint8Array(32) },
      { progress: (...step) => steps.push(step) },
    ).publicKey();
    expect(steps.at(0)).toEqual([0, 32]);
    expect(steps.at(-1)).toEqual([32, 32]);
  });
});

describe('parameter sets (RFC 8554 4.1, 5.1, 6; RFC 9858; SP 800-208)', () => {
  it('sizes of a signature, as the formula of PKCS#11 3.1 gives them', () => {
    const bytes = (text: string) => hssCost(parseHssShape(text)!).signatureBytes;
    expect(['H5/W8', 'H10/W8', 'H15/W8', 'H20/W8', 'H10/W4'].map(bytes)).toEqual([
      1296, 1456, 1616, 1776, 2512,
    ]);
    expect(['N24/H10/W8', 'N24/H20/W8'].map(bytes)).toEqual([904, 1144]);
    expect(bytes('H5/W8,H5/W8')).toBe(2644);
  });

  it('hashes of a verification, on average: half of every chain', () => {
    expect(Math.round(hssCost(parseHssShape('H10/W4')!).verifyHashes)).toBe(503 + 13);
    expect(Math.round(hssCost(parseHssShape('H10/W8')!).verifyHashes)).toBe(4335 + 13);
  });

  it.each(['H5/W8', 'N24/H10/W4', 'H20/W2,H20/W4,H20/W8'])(
    '%s: text, names and shape belong together',
    (text) => {
      const shape = parseHssShape(text)!;
      expect(hssShapeText(shape)).toBe(text);
      expect(hssShape(hssShapeNames(shape))).toEqual(shape);
      expect(hssShape(shape.map(({ lms, ots }) => ({ lms: lms.type, ots: ots.type })))).toEqual(shape);
    },
  );

  it.each([
    '',
    'H10',
    'W4',
    'H10/W3',
    'H11/W4',
    'H25/W4',
    'N16/H5/W4',
    'H5/W4,',
    'H5/W4,N24/H5/W4',
    'H5/W4;H5/W4',
  ])('%j is no shape that is made here', (text) => expect(parseHssShape(text)).toBeUndefined());

  it('at most eight levels, and not taller than 60 together', () => {
    expect(parseHssShape(Array(9).fill('H5/W4').join(','))).toBeUndefined();
    expect(parseHssShape(Array(4).fill('H20/W4').join(','))).toBeUndefined();
  });
});

describe('RFC 9802: HSS/LMS keys in a SubjectPublicKeyInfo', () => {
  const { key } = signerOf('H5/W4');
  const N24 = signerOf('N24/H5/W4').key;

  it('algorithm 1.2.840.113549.1.9.16.3.17 without parameters, the key in the BIT STRING as it is', () => {
    expect(toHex(key.spki)).toMatch(/^304e300d060b2a864886f70d0109100311033d00000000010000000500000003/);
    expect(toHex(N24.spki)).toMatch(/^3046300d060b2a864886f70d0109100311033500000000010000000a00000007/);
  });

  it.each([
    ['parameters NULL', '3050300f060b2a864886f70d01091003110500033d00'],
    ['an OCTET STRING around the key', '3050300d060b2a864886f70d0109100311033f00043c'],
    ['unused bits', '304e300d060b2a864886f70d0109100311033d01'],
  ])('%s: not taken', (_, prefix) => {
    expect(readPublicKey(concat(fromHex(prefix), key.spki.subarray(20)))).toBeUndefined();
  });

  it('n = 24 sets in a key of n = 32 length, mixed sets, no levels and nine levels are not taken', () => {
    const with32 = (at: number, value: number) => key.spki.with(20 + at, value);
    for (const bad of [
      with32(7, 10),
      with32(11, 7),
      with32(3, 0),
      with32(3, 9),
      with32(7, 4),
      with32(0, 1),
    ]) {
      expect(readPublicKey(bad)).toBeUndefined();
    }
    expect(readPublicKey(concat(key.spki, Uint8Array.of(0)))).toBeUndefined();
    expect(hssSpki(new Uint8Array(59))).toBeUndefined();
  });
});

describe('Node 20.0, which has no one-call hash', () => {
  afterEach(() => {
    vi.doUnmock('node:crypto');
    vi.resetModules();
  });

  it('gives the same key and signature', async () => {
    const expected = signerOf('N24/H5/W2').trees.sign(3n, MESSAGE);
    const real = await vi.importActual<typeof import('node:crypto')>('node:crypto');
    vi.resetModules();
    vi.doMock('node:crypto', () => ({ ...real, hash: undefined, default: real }));
    const older = await import('../../src/crypto/index.ts');
    const shape = older.parseHssShape('N24/H5/W2')!;
    const trees = new older.HssTrees({ shape, master: new Uint8Array(32).fill(0x42) });
    expect(toHex(trees.sign(3n, MESSAGE))).toBe(toHex(expected));
    expect(toHex(older.sha256(MESSAGE))).toBe(toHex(sha256(MESSAGE)));
  });
});

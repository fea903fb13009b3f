/**
 * HSS/LMS against what others published: RFC 8554 Appendix F, RFC 9858 Appendix A, test data of two crypto libraries, and
 * the COSE working group's hashsig example. The keys are those of the documents: test keys that everybody knows.
 */
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { lmsParameters, otsParameters } from '../../src/crypto/hss-lms/parameters.ts';
import { growTree, signLms, treePublicKey } from '../../src/crypto/hss-lms/tree.ts';
import { hssSpki, readPublicKey, spentLeaf, verifySignature } from '../../src/crypto/index.ts';
import { partition, vectors, vectorsPresent } from '../vectors.ts';

interface Case {
  id: string;
  publicKeyHex: string;
  msgHex: string;
  signatureHex: string;
  expected: 'valid' | 'invalid';
}

/** RFC 9858 sections 3.2 to 3.4: LMS types 15 to 24 hash with SHAKE256. */
const isOverShake = ({ publicKeyHex }: Case) => Number.parseInt(publicKeyHex.slice(8, 16), 16) > 14;

const all: Case[] = vectorsPresent ? vectors('hss-lms').cases : [];
const { judged: cases } = partition(all, [['a tree over SHAKE256', isOverShake]]);
const valid = cases.filter((each) => each.expected === 'valid');

function keyOf(publicKeyHex: string) {
  return readPublicKey(hssSpki(fromHex(publicKeyHex))!)!;
}

describe.skipIf(!vectorsPresent)('published signatures', () => {
  it('are there', () => expect(cases.length).toBeGreaterThan(0));

  it.each(cases)(
    '$id is $expected (RFC 8554 6.3, RFC 9858)',
    ({ publicKeyHex, msgHex, signatureHex, expected }) => {
      const outcome = verifySignature(keyOf(publicKeyHex), fromHex(msgHex), fromHex(signatureHex));
      expect(outcome).toBe(expected === 'valid');
    },
  );

  it.each(valid)('$id with any one part changed, cut or lengthened is refused', (each) => {
    const key = keyOf(each.publicKeyHex);
    const [message, signature] = [fromHex(each.msgHex), fromHex(each.signatureHex)];
    expect(verifySignature(key, Uint8Array.of(...message, 0), signature)).toBe(false);
    expect(verifySignature(key, message, signature.subarray(0, -1))).toBe(false);
    expect(verifySignature(key, message, Uint8Array.of(...signature, 0))).toBe(false);
    for (let at = 0; at < signature.length; at += 41) {
      const changed = signature.slice();
      changed[at]! ^= 1;
      expect(verifySignature(key, message, changed), `byte ${at}`).toBe(false);
    }
  });

  const ofOneTree = valid.filter(({ publicKeyHex }) => publicKeyHex.startsWith('00000001'));
  it.skipIf(ofOneTree.length === 0)(
    'RFC 8554 5.4: in one tree the leaf is q, which the signature opens with',
    () => {
      for (const { publicKeyHex, signatureHex } of ofOneTree) {
        const leaf = BigInt(`0x${signatureHex.slice(8, 16)}`);
        expect(spentLeaf(keyOf(publicKeyHex), fromHex(signatureHex))).toMatchObject({ leaf });
      }
    },
  );

  const testCase1 = valid.find(({ publicKeyHex }) =>
    publicKeyHex.includes('61a5d57d37f5e46bfb7520806b07a1b8'),
  );
  it.skipIf(!testCase1)('RFC 8554 F, Test Case 1: the leaf counted over both levels is 5 * 32 + 10', () => {
    const { publicKeyHex, signatureHex } = testCase1!;
    expect(spentLeaf(keyOf(publicKeyHex), fromHex(signatureHex))).toEqual({ leaf: 170n, capacity: 1024n });
  });
});

/** RFC 8554 Appendix F, Test Case 2: seeds and identifiers of both levels, for key generation by Appendix A. */
const TOP = {
  lms: lmsParameters('LMS_SHA256_M32_H10')!,
  ots: otsParameters('LMOTS_SHA256_N32_W4')!,
  identifier: fromHex('d08fabd4a2091ff0a8cb4ed834e74534'),
  seed: fromHex('558b8966c48ae9cb898b423c83443aae014a72f1b1ab5cc85cf1d892903b5439'),
};
const SECOND = {
  lms: lmsParameters('LMS_SHA256_M32_H5')!,
  ots: otsParameters('LMOTS_SHA256_N32_W8')!,
  identifier: fromHex('215f83b7ccb9acbcd08db97b0d04dc2b'),
  seed: fromHex('a1c4696e2608035a886100d05cd99945eb3370731884a8235e2fb3d4d71f2547'),
};

const topPublic =
  '0000000600000003d08fabd4a2091ff0a8cb4ed834e7453432a58885cd9ba0431235466bff9651c6c92124404d45fa53cf161c28f1ad5a8e';
/** An HSS signature by the top tree alone: the count of levels, q, one-time signature, type, path. */
const HSS_LENGTH = 4 + 4 + (4 + 32 + 67 * 32) + 4 + 10 * 32;

interface CoseCase {
  expected: string;
  cborHex: string;
  keys: { publicHex?: string }[];
  intermediates: { toBeSignedHex: string[] };
}

describe('RFC 8554 Appendix A and F: keys and signatures from published seeds', () => {
  it('Test Case 2, top level: H10/W4 has the published root', () => {
    expect(toHex(treePublicKey(growTree(TOP)))).toBe(topPublic);
  });

  it('Test Case 2, second level: H5/W8 has the published root', () => {
    expect(toHex(treePublicKey(growTree(SECOND)))).toBe(
      '0000000500000004215f83b7ccb9acbcd08db97b0d04dc2ba1cd035833e0e90059603f26e07ad2aad152338e7a5e5984bcd5f7bb4eba40b7',
    );
  });

  const published = valid.find(({ publicKeyHex }) =>
    publicKeyHex.includes('202122232425262728292a2b2c2d2e2f'),
  );
  it.skipIf(!published)(
    'RFC 9858 A.1: from its seed the published key with n = 24, and at leaf 5 the published signature',
    () => {
      const tree = growTree({
        lms: lmsParameters('LMS_SHA256_M24_H5')!,
        ots: otsParameters('LMOTS_SHA256_N24_W8')!,
        identifier: fromHex('202122232425262728292a2b2c2d2e2f'),
        seed: fromHex('000102030405060708090a0b0c0d0e0f1011121314151617'),
      });
      expect(`00000001${toHex(treePublicKey(tree))}`).toBe(published!.publicKeyHex);
      const signature = fromHex(published!.signatureHex);
      const again = signLms(tree, 5, signature.subarray(12, 36), fromHex(published!.msgHex));
      expect(toHex(again)).toBe(toHex(signature.subarray(4)));
    },
  );

  const ofTheCoseGroup: CoseCase[] = vectorsPresent ? vectors('cose-examples').cases : [];
  const signedByTop = ofTheCoseGroup.filter(
    ({ expected, keys }) => expected === 'valid' && keys[0]?.publicHex === `00000001${topPublic}`,
  );
  it.skipIf(signedByTop.length === 0)(
    'COSE examples of hashsig are signed by the same key: ours is the same, byte for byte',
    () => {
      const tree = growTree(TOP);
      for (const { cborHex, intermediates } of signedByTop) {
        const published = fromHex(cborHex).subarray(-HSS_LENGTH);
        const leaf = new DataView(published.buffer, published.byteOffset).getUint32(4);
        const message = fromHex(intermediates.toBeSignedHex[0]!);
        const again = signLms(tree, leaf, published.subarray(12, 44), message);
        expect(toHex(again)).toBe(toHex(published.subarray(4)));
      }
    },
  );
});

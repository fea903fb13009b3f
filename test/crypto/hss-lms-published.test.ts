/**
 * HSS/LMS against what others published: RFC 8554 Appendix F, RFC 9858 Appendix A, test data of two crypto libraries, and
 * the COSE working group's hashsig example. The keys are those of the documents: test keys that everybody knows.
 */
import { describe, expect, it } from 'vitest';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import { lmsParameters, otsParameters } from '../../src/crypto/hss-lms/parameters.ts';
import { growTree, signLms, treePublicKey } from '../../src/crypto/hss-lms/tree.ts';
import { hssSpki, readPublicKey, spentLeaf, verifySignature } from '../../src/crypto/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';

interface Case {
  id: string;
  publicKeyHex: string;
  msgHex: string;
  signatureHex: string;
  expected: 'valid' | 'invalid';
}

const cases: Case[] = vectorsPresent ? vectors('hss-lms').cases : [];
const valid = cases.filter((each) => each.expected === 'valid');

function keyOf(publicKeyHex: string) {
  return readPublicKey(hssSpki(fromHex(publicKeyHex))!)!;
}

describe.skipIf(!vectorsPresent)('published signatures', () => {
  it('9 cases, 7 of them valid', () => {
    expect([cases.length, valid.length]).toEqual([9, 7]);
  });

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

  it('RFC 8554 F, Test Case 1: the leaf counted over both levels is 5 * 32 + 10', () => {
    const { publicKeyHex, signatureHex } = cases.find(({ id }) => id === 'rfc8554-f-tc1')!;
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

describe('RFC 8554 Appendix A and F: keys and signatures from published seeds', () => {
  it('Test Case 2, top level: H10/W4 has the published root', () => {
    expect(toHex(treePublicKey(growTree(TOP)))).toBe(
      '0000000600000003d08fabd4a2091ff0a8cb4ed834e7453432a58885cd9ba0431235466bff9651c6c92124404d45fa53cf161c28f1ad5a8e',
    );
  });

  it('Test Case 2, second level: H5/W8 has the published root', () => {
    expect(toHex(treePublicKey(growTree(SECOND)))).toBe(
      '0000000500000004215f83b7ccb9acbcd08db97b0d04dc2ba1cd035833e0e90059603f26e07ad2aad152338e7a5e5984bcd5f7bb4eba40b7',
    );
  });

  it.skipIf(!vectorsPresent)(
    'RFC 9858 A.1: from its seed the published key with n = 24, and at leaf 5 the published signature',
    () => {
      const published = cases.find(({ id }) => id === 'rfc9858-a.1')!;
      const tree = growTree({
        lms: lmsParameters('LMS_SHA256_M24_H5')!,
        ots: otsParameters('LMOTS_SHA256_N24_W8')!,
        identifier: fromHex('202122232425262728292a2b2c2d2e2f'),
        seed: fromHex('000102030405060708090a0b0c0d0e0f1011121314151617'),
      });
      expect(`00000001${toHex(treePublicKey(tree))}`).toBe(published.publicKeyHex);
      const signature = fromHex(published.signatureHex);
      const again = signLms(tree, 5, signature.subarray(12, 36), fromHex(published.msgHex));
      expect(toHex(again)).toBe(toHex(signature.subarray(4)));
    },
  );

  it.skipIf(!vectorsPresent)(
    'COSE hashsig-01 is signed by the same key at leaf 1: ours is the same, byte for byte',
    () => {
      // biome-ignore lint/suspicious/noExplicitAny: the vector file has a shape of its own
      const example = vectors('cose-examples').cases.find((each: any) => each.id === 'hashsig/hashsig-01');
      const length = 2512;
      const published = fromHex(example.cborHex).subarray(-length);
      const randomizer = published.subarray(12, 44);
      const message = fromHex(example.intermediates.toBeSignedHex[0]);
      expect(toHex(signLms(growTree(TOP), 1, randomizer, message))).toBe(toHex(published.subarray(4)));
    },
  );
});

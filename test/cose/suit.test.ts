/** Authentication blocks of the SUIT drafts: detached payload = the encoded SUIT_Digest (draft-ietf-suit-manifest 8.3). */
import { describe, expect, it } from 'vitest';
import { concat, fromHex, toHex } from '../../src/bytes/index.ts';
import { encode } from '../../src/cbor/index.ts';
import {
  decodeCose,
  type Mac0Message,
  type Sign1Message,
  verifyMac0,
  verifySign1,
} from '../../src/cose/index.ts';
import { p256Spki, readPublicKey } from '../../src/crypto/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';

/** draft-ietf-suit-manifest-37 Appendix B: the published example key. A test key: everyone has its private half. */
const EXAMPLE_KEY = readPublicKey(
  p256Spki(
    fromHex('8496811aae0baaabd26157189eecda26beaa8bf11b6f3fe6e2b5659c85dbc0ad'),
    fromHex('3b1f2a4b6c098131c0a36dacd1d78bd381dcdfb09c052db33991db7338b4a896'),
  )!,
)!;

/** Appendix B.1, Example 0: the second element of the authentication wrapper, and the content of the first. */
const BLOCK_0 = fromHex(
  'd28443a10126a0f65840408d0816f9b510749bf6a51b066951e08a4438f849eb092a1ac768eed9de696c1b1dd35d82ef149e6a73a61976' +
    'ad2cfe78444b8064293350a122f332cb49f0da',
);
const DIGEST_0 = fromHex('822f58206658ea560262696dd1f13b782239a064da7c6c5cbaf52fded428a6fc83c7e5af');

/** draft-ietf-suit-firmware-encryption-24, "AES Key Wrap Example with Write Directive"; the key is 32 times 'a'. */
const MAC_BLOCK = fromHex(
  'd18443a10105a0f658208d92599011c451a4c5fb69709fa6ca6c0f846d692bdbb3f624ec91f82f9f620a',
);
const MAC_DIGEST = fromHex('822f5820037a5c325ce14078a0aadf007428eac659361ad9402a732410bda542fae94e2c');
const MAC_KEY = new Uint8Array(32).fill(0x61);

describe('draft-ietf-suit-manifest-37 Appendix B.1: the block of Example 0', () => {
  const block = decodeCose(BLOCK_0, { requireTag: true }) as Sign1Message;

  it('is a COSE_Sign1 with tag 18, alg ES256 protected, payload detached', () => {
    expect(block).toMatchObject({ kind: 'sign1', tag: 18, payload: null, span: { start: 0, end: 74 } });
    expect(block.headers.entries).toMatchObject([{ label: 1, isProtected: true, value: { value: -7 } }]);
  });
  it('verifies over the encoded SUIT_Digest, as legacy', () => {
    expect(verifySign1(block, EXAMPLE_KEY, DIGEST_0)).toMatchObject({
      ok: true,
      algorithm: { id: -7, name: 'ES256', status: 'legacy' },
    });
  });
  it('does not verify over the digest wrapped in a byte string once more', () => {
    const twice = concat(fromHex('5824'), DIGEST_0);
    expect(toHex(encode(DIGEST_0))).toBe(toHex(twice));
    expect(verifySign1(block, EXAMPLE_KEY, twice)).toMatchObject({ ok: false, code: 'signature-wrong' });
  });
  it('does not verify over the bare hash, nor with external data', () => {
    expect(verifySign1(block, EXAMPLE_KEY, DIGEST_0.subarray(4)).ok).toBe(false);
    expect(verifySign1(block, EXAMPLE_KEY, DIGEST_0, { externalAad: fromHex('00') }).ok).toBe(false);
  });
});

describe('draft-ietf-suit-firmware-encryption-24: the COSE_Mac0 of the key-wrap example', () => {
  const block = decodeCose(MAC_BLOCK, { requireTag: true }) as Mac0Message;

  it('verifies over the encoded SUIT_Digest', () => {
    expect(verifyMac0(block, MAC_KEY, MAC_DIGEST)).toMatchObject({ ok: true, algorithm: { id: 5 } });
  });
  it('does not verify over the double wrap, or with another key', () => {
    expect(verifyMac0(block, MAC_KEY, encode(MAC_DIGEST))).toMatchObject({ ok: false, code: 'mac-wrong' });
    expect(
      verifyMac0(
        block,
        MAC_KEY.map((byte) => byte ^ 1),
        MAC_DIGEST,
      ),
    ).toMatchObject({ code: 'mac-wrong' });
  });
});

interface Example {
  envelopes: { envelopeHex: string }[];
  decoded: { suitDigestHex: string; authentication: { protectedHex: string; signatureHex: string } };
}

describe.skipIf(!vectorsPresent)('draft-ietf-suit-manifest-37 Appendix B, every signed example', () => {
  const file: { keys: { xHex: string; yHex: string }[]; cases: Example[] } = vectorsPresent
    ? vectors('suit-manifest-examples')
    : { keys: [], cases: [] };
  const keys = file.keys.map(({ xHex, yHex }) => readPublicKey(p256Spki(fromHex(xHex), fromHex(yHex))!)!);
  const verifies = (block: Sign1Message, payload: Uint8Array) =>
    keys.some((key) => verifySign1(block, key, payload).ok);

  it('is there', () => expect(file.cases.length).toBeGreaterThan(0));
  it.each(file.cases)('$id verifies over its digest, not over the double wrap', ({ envelopes, decoded }) => {
    const { protectedHex, signatureHex } = decoded.authentication;
    const header = toHex(encode(fromHex(protectedHex)));
    const bytes = fromHex(`d284${header}a0f6${toHex(encode(fromHex(signatureHex)))}`);
    expect(envelopes.some((each) => each.envelopeHex.includes(toHex(encode(bytes))))).toBe(true);
    const block = decodeCose(bytes, { requireTag: true }) as Sign1Message;
    const digest = fromHex(decoded.suitDigestHex);
    expect(verifies(block, digest)).toBe(true);
    expect(verifies(block, encode(digest))).toBe(false);
  });
});

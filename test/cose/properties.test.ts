/** Whatever the bytes: decodeCose gives a message or a CoseError, verification a verdict. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { fromHex, fromUtf8, toHex } from '../../src/bytes/index.ts';
import { CborMap, CborTag, type CborValue, encode } from '../../src/cbor/index.ts';
import {
  CoseError,
  type CoseMessage,
  decodeCose,
  heldMacKey,
  sealMac0,
  sealSign1,
  verifyMac,
  verifyMac0,
  verifySign1,
  verifySigner,
} from '../../src/cose/index.ts';
import { readPublicKey } from '../../src/crypto/index.ts';
import { freshSigner } from './keys.ts';

const PAYLOAD = fromUtf8('payload');
const MAC_KEY = new Uint8Array(32).fill(3);
const signer = freshSigner('Ed25519');
const publicKey = readPublicKey(signer.publicKey)!;

function tryDecode(bytes: Uint8Array): CoseMessage | undefined {
  try {
    return decodeCose(bytes);
  } catch (error) {
    if (error instanceof CoseError) return undefined;
    throw error;
  }
}

function verdictsOn(message: CoseMessage): boolean[] {
  switch (message.kind) {
    case 'sign1':
      return [verifySign1(message, publicKey, PAYLOAD).ok];
    case 'mac0':
      return [verifyMac0(message, MAC_KEY, PAYLOAD).ok];
    case 'mac':
      return [verifyMac(message, MAC_KEY, PAYLOAD).ok];
    case 'sign':
      return message.signers.map((each) => verifySigner(message, each, publicKey, PAYLOAD).ok);
  }
}

const leaf: fc.Arbitrary<CborValue> = fc.oneof(
  fc.integer({ min: -70000, max: 70000 }),
  fc.uint8Array({ maxLength: 70 }),
  fc.string({ maxLength: 8 }),
  fc.constantFrom<CborValue>(null, true, [], [1, 2]),
);
const label = fc.oneof(fc.integer({ min: -3, max: 36 }), fc.string({ maxLength: 3 }));
const bucket = fc
  .uniqueArray(fc.tuple(label, leaf), { maxLength: 4, selector: ([key]) => `${typeof key}${key}` })
  .map((pairs) => new CborMap(pairs));
const layer = fc.oneof(
  bucket.map((map): CborValue => encode(map)),
  leaf,
);
/** Bytes shaped like a COSE message, mostly wrong somewhere. */
const nearly = fc
  .tuple(fc.constantFrom(16, 17, 18, 96, 97, 98), fc.array(fc.oneof(layer, bucket, leaf), { maxLength: 6 }))
  .map(([tag, elements]) => encode(new CborTag(tag, elements)));
const shaped = fc
  .tuple(
    fc.constantFrom(17, 18, 97, 98),
    layer,
    bucket,
    leaf,
    leaf,
    fc.array(fc.tuple(layer, bucket, leaf), { maxLength: 3 }),
  )
  .map(([tag, a, b, payload, last, inner]) =>
    encode(
      new CborTag(tag, [a, b, payload, ...(tag === 98 ? [inner] : tag === 97 ? [last, inner] : [last])]),
    ),
  );

describe('bytes that nobody vouches for', () => {
  it('are read or refused with a CoseError; what is read gets a verdict, never ok', () => {
    fc.assert(
      fc.property(fc.oneof(fc.uint8Array({ maxLength: 120 }), nearly, shaped), (bytes) => {
        const message = tryDecode(bytes);
        if (message) expect(verdictsOn(message)).not.toContain(true);
      }),
      { numRuns: 3000 },
    );
  });
  it('a changed byte of a sealed message is refused, unless it lies in the unprotected header', async () => {
    const kid = fromHex('00112233');
    const sealed = [
      await sealSign1(signer, { payload: PAYLOAD, unprotectedHeaders: [[4, kid]] }),
      await sealMac0(heldMacKey(kid, MAC_KEY), { payload: PAYLOAD }),
    ];
    for (const bytes of sealed) {
      const open = toHex(bytes).indexOf('a10444') / 2;
      for (let place = 0; place < bytes.length; place++) {
        for (const change of [0x01, 0x20, 0x80, 0xff]) {
          const changed = bytes.slice();
          changed[place]! ^= change;
          const message = tryDecode(changed);
          const isOpen = place >= open && place < open + 7;
          if (message && !isOpen) expect(verdictsOn(message), `byte ${place}`).not.toContain(true);
        }
      }
    }
  });
  it('a message cut anywhere is refused', async () => {
    const bytes = await sealSign1(signer, { payload: PAYLOAD });
    for (let length = 0; length < bytes.length; length++) {
      expect(() => decodeCose(bytes.subarray(0, length))).toThrow(CoseError);
    }
  });
});

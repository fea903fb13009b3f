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

const bytes = fc.uint8Array({ maxLength: 70 });
const leaf: fc.Arbitrary<CborValue> = fc.oneof(
  fc.integer({ min: -70000, max: 70000 }),
  bytes,
  fc.string({ maxLength: 8 }),
  fc.constantFrom<CborValue>(null, true, [], [1, 2]),
);
const label = fc.oneof(fc.integer({ min: -3, max: 36 }), fc.string({ maxLength: 3 }));
const parameter: fc.Arbitrary<[CborValue, CborValue]> = fc.oneof(
  {
    weight: 4,
    arbitrary: fc.tuple(fc.constant(1), fc.constantFrom<CborValue>(-7, -8, -9, -19, 4, 5, -6, 'ESP256')),
  },
  { weight: 2, arbitrary: fc.tuple(fc.constantFrom(4, 33), bytes) },
  { weight: 1, arbitrary: fc.tuple(fc.constant(2), fc.array(label, { minLength: 1, maxLength: 2 })) },
  { weight: 1, arbitrary: fc.tuple(label, leaf) },
);
const bucket = fc
  .uniqueArray(parameter, { maxLength: 3, selector: ([key]) => `${typeof key}${key}` })
  .map((pairs) => new CborMap(pairs));
const protectedBucket: fc.Arbitrary<CborValue> = bucket.map((map) =>
  map.entries.length ? encode(map) : new Uint8Array(0),
);
const nilOrBytes: fc.Arbitrary<CborValue> = fc.oneof(fc.constant(null), fc.constant(PAYLOAD), bytes);
const inner = fc.array(fc.tuple(protectedBucket, bucket, nilOrBytes), { minLength: 1, maxLength: 2 });

/** Messages of the right shape, with headers and values that mean little. */
const shaped = fc
  .tuple(fc.constantFrom(17, 18, 97, 98), protectedBucket, bucket, nilOrBytes, bytes, inner)
  .map(([tag, a, b, payload, last, list]) =>
    encode(new CborTag(tag, [a, b, payload, ...(tag === 98 ? [list] : tag === 97 ? [last, list] : [last])])),
  );
/** Messages of hardly the right shape. */
const nearly = fc
  .tuple(
    fc.constantFrom(16, 17, 18, 96, 97, 98),
    fc.array(fc.oneof(protectedBucket, bucket, leaf), { maxLength: 6 }),
  )
  .map(([tag, elements]) => encode(new CborTag(tag, elements)));

describe('bytes that nobody vouches for', () => {
  it('are read or refused with a CoseError; what is read gets a verdict, never ok', () => {
    let read = 0;
    fc.assert(
      fc.property(fc.oneof(bytes, nearly, shaped), (input) => {
        const message = tryDecode(input);
        if (!message) return;
        read++;
        expect(verdictsOn(message)).not.toContain(true);
      }),
      { numRuns: 3000 },
    );
    expect(read).toBeGreaterThan(100);
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

/** Whatever the bytes: an encryption info opens or gets a refusal, a message is authentic or refused; nothing throws. */
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { fromUtf8, toHex } from '../../../src/bytes/index.ts';
import { CborMap, CborTag, type CborValue, encode } from '../../../src/cbor/index.ts';
import {
  decryptWhole,
  encryptMessage,
  heldWrappingKey,
  openEncryptionInfo,
  openMessage,
  privateKeyUnwrapper,
  publicKeyRecipient,
  sharedKeyUnwrapper,
  startEncrypt,
  verifySign1,
  wrappingKeyUnwrapper,
} from '../../../src/cose/index.ts';
import { generateAgreementKey, readPublicKey } from '../../../src/crypto/index.ts';
import { freshSigner } from '../keys.ts';
import { A128CTR, A128GCM, CONTENT } from './support.ts';

const KEK = new Uint8Array(16).fill(1);
const device = generateAgreementKey('p256');
const unwrappers = [
  wrappingKeyUnwrapper(KEK),
  privateKeyUnwrapper(device),
  sharedKeyUnwrapper({ algorithm: A128GCM, key: KEK }),
];
const recipients = [heldWrappingKey(KEK, fromUtf8('k')), publicKeyRecipient(device.publicKey)];
const open = (info: Uint8Array) => openEncryptionInfo(info, unwrappers, { algorithms: CONTENT });

const bytes = fc.uint8Array({ maxLength: 40 });
const leaf: fc.Arbitrary<CborValue> = fc.oneof(
  fc.integer({ min: -70000, max: 70000 }),
  bytes,
  fc.string({ maxLength: 6 }),
  fc.constantFrom<CborValue>(null, true, [], [1, 2], new CborMap([[1, 2]])),
);
const point = fc.uint8Array({ minLength: 32, maxLength: 32 });
const ephemeral = fc
  .record({
    kty: fc.constantFrom(1, 2, 4),
    crv: fc.constantFrom(1, 2, 4, 6),
    x: point,
    y: fc.oneof(point, fc.boolean()),
  })
  .map(
    ({ kty, crv, x, y }) =>
      new CborMap([
        [1, kty],
        [-1, crv],
        [-2, x],
        [-3, y],
      ] as [CborValue, CborValue][]),
  );
const parameter: fc.Arbitrary<[CborValue, CborValue]> = fc.oneof(
  {
    weight: 4,
    arbitrary: fc.tuple(
      fc.constant(1),
      fc.constantFrom<CborValue>(-3, -5, -6, -29, -31, 1, 3, 24, -65534, 'x'),
    ),
  },
  {
    weight: 2,
    arbitrary: fc.tuple(
      fc.constant(5),
      fc.constantFrom(12, 16).map((n) => new Uint8Array(n)),
    ),
  },
  { weight: 2, arbitrary: fc.tuple(fc.constant(-1), ephemeral) },
  { weight: 1, arbitrary: fc.tuple(fc.constantFrom(2, 4, 6, -20, -21, -25), leaf) },
  { weight: 1, arbitrary: fc.tuple(fc.integer({ min: -30, max: 40 }), leaf) },
);
const bucket = fc
  .uniqueArray(parameter, { maxLength: 4, selector: ([key]) => `${typeof key}${key}` })
  .map((pairs) => new CborMap(pairs));
const protectedBucket: fc.Arbitrary<CborValue> = bucket.map((map) =>
  map.entries.length ? encode(map) : new Uint8Array(0),
);
const ciphertext: fc.Arbitrary<CborValue> = fc.oneof(
  fc.constant(null),
  bytes,
  fc.uint8Array({ minLength: 24, maxLength: 24 }),
);
const layer: fc.Arbitrary<CborValue> = fc.tuple(protectedBucket, bucket, ciphertext);
const shaped = fc
  .tuple(protectedBucket, bucket, fc.array(layer, { minLength: 1, maxLength: 3 }))
  .map(([a, b, list]) => encode(new CborTag(96, [a, b, null, list])));
const nearly = fc
  .tuple(
    fc.constantFrom(16, 96, 97),
    fc.array(fc.oneof(protectedBucket, bucket, leaf, fc.array(layer)), { maxLength: 5 }),
  )
  .map(([tag, elements]) => encode(new CborTag(tag, elements)));

describe('bytes that nobody vouches for', () => {
  it('as encryption info get a verdict; a key comes out only where one was conveyed or held', () => {
    const codes = new Set<string>();
    fc.assert(
      fc.property(fc.oneof(bytes, nearly, shaped), (input) => {
        const opened = open(input);
        codes.add(opened.ok ? 'opened' : opened.code);
        if (opened.ok) expect(toHex(opened.content.key)).toBe(toHex(KEK));
        else expect(opened.detail.length).toBeGreaterThan(10);
      }),
      { numRuns: 4000 },
    );
    expect(codes.size).toBeGreaterThan(8);
  });

  it.each([A128CTR, A128GCM])(
    'mutated infos open to the same content key, or not at all',
    async (algorithm) => {
      const { info } = await startEncrypt({ algorithm, recipients });
      const whole = open(info);
      if (!whole.ok) return expect.unreachable(whole.detail);
      const edits = fc.array(fc.tuple(fc.nat(info.length - 1), fc.integer({ min: 1, max: 255 })), {
        minLength: 1,
        maxLength: 3,
      });
      fc.assert(
        fc.property(edits, fc.nat(info.length), fc.boolean(), (places, length, cut) => {
          const changed = info.slice();
          for (const [place, change] of places) changed[place]! ^= change;
          const opened = open(cut ? changed.subarray(0, length) : changed);
          if (opened.ok) expect(opened.content.key).toEqual(whole.content.key);
        }),
        { numRuns: 800 },
      );
    },
  );

  it('any ciphertext under an AEAD is refused unless it is the one that was made', async () => {
    const running = await startEncrypt({ algorithm: A128GCM, recipients });
    running.update(fromUtf8('x'));
    const opened = open(running.info);
    if (!opened.ok) return expect.unreachable(opened.detail);
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 60 }), (forged) => {
        expect(decryptWhole(opened.content, forged).ok).toBe(false);
      }),
    );
  });

  it('as message are refused, whatever was changed', async () => {
    const signer = freshSigner('Ed25519');
    const key = readPublicKey(signer.publicKey)!;
    const bytes = await encryptMessage({
      plaintext: fromUtf8('sequence 12'),
      encryption: { algorithm: A128GCM, recipients },
      authenticator: signer,
    });
    const options = {
      authenticate: (message: Parameters<typeof verifySign1>[0] | { kind: 'mac0' }, payload: Uint8Array) =>
        message.kind === 'sign1'
          ? verifySign1(message, key, payload)
          : ({ ok: false, code: 'alg-unsupported', detail: 'no MAC is taken' } as const),
      unwrappers,
      algorithms: [A128GCM],
    };
    expect(openMessage(bytes, options).ok).toBe(true);
    const place = fc.nat(bytes.length - 1);
    fc.assert(
      fc.property(fc.oneof(nearly, shaped, fc.tuple(place, fc.integer({ min: 1, max: 255 }))), (change) => {
        const input = change instanceof Uint8Array ? change : bytes.slice();
        if (!(change instanceof Uint8Array)) input[change[0]]! ^= change[1];
        expect(openMessage(input, options).ok).toBe(false);
      }),
      { numRuns: 1500 },
    );
  });
});

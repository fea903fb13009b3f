/** Verifying: RFC 9052 sections 3.1 (alg, crit), 4.4, 6.3; RFC 9053 sections 2, 3.1, 6.1.1. Keys are made for the test. */
import { beforeAll, describe, expect, it } from 'vitest';
import { fromHex, fromUtf8 } from '../../src/bytes/index.ts';
import { CborMap, CborTag, type CborValue, encode } from '../../src/cbor/index.ts';
import {
  decodeCose,
  LABEL,
  type Mac0Message,
  type MacMessage,
  macStructure,
  macStructure0,
  type Sign1Message,
  type SignMessage,
  signStructure,
  signStructure1,
  verifyMac,
  verifyMac0,
  verifySign1,
  verifySigner,
} from '../../src/cose/index.ts';
import { hmacSha256, readPublicKey } from '../../src/crypto/index.ts';
import { freshSigner } from './keys.ts';

type Pairs = [CborValue, CborValue][];
const PAYLOAD = fromUtf8('payload');
const EMPTY = new Uint8Array(0);
const TEST_MAC_KEY = new Uint8Array(32).fill(9);
const p256 = freshSigner('ESP256');
const ed25519 = freshSigner('Ed25519');
const keyOf = (signer: { publicKey: Uint8Array }) => readPublicKey(signer.publicKey)!;
const map = (pairs: Pairs) => encode(new CborMap(pairs));

/** A Sign1 as a stranger might make it: any headers, genuine signature. */
async function sign1(
  authenticated: Pairs,
  {
    open = [],
    signer = p256,
    carried = null,
  }: { open?: Pairs; signer?: typeof p256; carried?: Uint8Array | null } = {},
): Promise<Sign1Message> {
  const protectedBytes = map(authenticated);
  const signature = await signer.sign(signStructure1(protectedBytes, PAYLOAD));
  return decodeCose(
    encode(new CborTag(18, [protectedBytes, new CborMap(open), carried, signature])),
  ) as Sign1Message;
}

function mac0(authenticated: Pairs, tag?: Uint8Array): Mac0Message {
  const protectedBytes = map(authenticated);
  const bytes = tag ?? hmacSha256(TEST_MAC_KEY, macStructure0(protectedBytes, PAYLOAD));
  return decodeCose(encode(new CborTag(17, [protectedBytes, new CborMap([]), null, bytes]))) as Mac0Message;
}

describe('RFC 9052 3.1: alg', () => {
  it.each([
    ['ESP256', -9, p256],
    ['ES256, legacy', -7, p256],
    ['Ed25519', -19, ed25519],
    ['EdDSA, legacy', -8, ed25519],
  ])('%s (%i) verifies', async (_, id, signer) => {
    const verdict = verifySign1(await sign1([[1, id]], { signer }), keyOf(signer), PAYLOAD);
    expect(verdict).toMatchObject({
      ok: true,
      algorithm: { id, status: id === -7 || id === -8 ? 'legacy' : 'current' },
    });
  });
  it('-7 and -9 are not exchangeable: the value is signed', async () => {
    const message = await sign1([[1, -9]]);
    const other = decodeCose(
      encode(new CborTag(18, [map([[1, -7]]), new CborMap([]), null, message.signature])),
    ) as Sign1Message;
    expect(verifySign1(other, keyOf(p256), PAYLOAD)).toMatchObject({ code: 'signature-wrong' });
  });
  it('absent, unprotected or unknown it is refused, however right the signature', async () => {
    const codes = await Promise.all([
      sign1([]),
      sign1([], { open: [[1, -9]] }),
      sign1([[1, -47]]),
      sign1([[1, 5]]),
      sign1([[1, 'ESP256']]),
      sign1([[1, 'Ed25519']]),
      sign1([[1, 2n ** 63n]]),
    ]);
    expect(codes.map((message) => verifySign1(message, keyOf(p256), PAYLOAD))).toMatchObject([
      { code: 'alg-missing' },
      { code: 'alg-unprotected' },
      { code: 'alg-unsupported' },
      { code: 'alg-unsupported' },
      { code: 'alg-unsupported' },
      { code: 'alg-unsupported' },
      { code: 'alg-unsupported' },
    ]);
  });
  it('RFC 9053 2: the key must be of the type the algorithm needs', async () => {
    expect(verifySign1(await sign1([[1, -9]]), keyOf(ed25519), PAYLOAD)).toMatchObject({
      code: 'key-mismatch',
    });
    expect(verifySign1(await sign1([[1, -19]]), keyOf(p256), PAYLOAD)).toMatchObject({
      code: 'key-mismatch',
    });
  });
});

describe('RFC 9052 7.1: a key held for one algorithm', () => {
  const verdictOf = (message: Sign1Message, keyAlgorithm: number) =>
    verifySign1(message, keyOf(p256), PAYLOAD, { keyAlgorithm });

  it('takes that one, protected or not', async () => {
    expect(verdictOf(await sign1([[1, -9]]), -9)).toMatchObject({ ok: true });
    expect(verdictOf(await sign1([], { open: [[1, -9]] }), -9)).toMatchObject({ ok: true });
  });
  it('takes no other of its type, and none that is missing', async () => {
    expect(verdictOf(await sign1([[1, -7]]), -9)).toMatchObject({ code: 'key-mismatch' });
    expect(verdictOf(await sign1([], { open: [[1, -7]] }), -9)).toMatchObject({ code: 'key-mismatch' });
    expect(verdictOf(await sign1([]), -9)).toMatchObject({ code: 'alg-missing' });
  });
});

describe('RFC 9052 3.1: crit', () => {
  it.each<[string, Pairs, Pairs, readonly (number | string)[], string]>([
    [
      'names what we always understand',
      [
        [1, -9],
        [2, [1, 3]],
        [3, 60],
      ],
      [],
      [],
      'ok',
    ],
    [
      'names what the caller understands',
      [
        [1, -9],
        [2, [34]],
        [34, [-16, EMPTY]],
      ],
      [],
      [34],
      'ok',
    ],
    [
      'names a text label the caller understands',
      [
        [1, -9],
        [2, ['x']],
        ['x', 1],
      ],
      [],
      ['x'],
      'ok',
    ],
    [
      'names what nobody understands',
      [
        [1, -9],
        [2, [34]],
        [34, [-16, EMPTY]],
      ],
      [],
      [],
      'crit-not-understood',
    ],
    [
      '"34" is not 34',
      [
        [1, -9],
        [2, [34]],
        [34, [-16, EMPTY]],
      ],
      [],
      ['34'],
      'crit-not-understood',
    ],
    [
      'names an absent parameter',
      [
        [1, -9],
        [2, [34]],
      ],
      [],
      [34],
      'crit-malformed',
    ],
    [
      'names an unprotected parameter',
      [
        [1, -9],
        [2, [4]],
      ],
      [[4, EMPTY]],
      [],
      'crit-malformed',
    ],
    ['is itself unprotected', [[1, -9]], [[2, [1]]], [], 'crit-malformed'],
  ])('%s', async (_, authenticated, open, understood, outcome) => {
    const verdict = verifySign1(await sign1(authenticated, { open }), keyOf(p256), PAYLOAD, { understood });
    expect(verdict.ok ? 'ok' : verdict.code).toBe(outcome);
  });
});

describe('RFC 9052 4.4: Sig_structure of a COSE_Sign1', () => {
  it('a carried payload is verified where it is the expected one', async () => {
    expect(verifySign1(await sign1([[1, -9]], { carried: PAYLOAD }), keyOf(p256), PAYLOAD).ok).toBe(true);
    const other = await sign1([[1, -9]], { carried: fromUtf8('another') });
    expect(verifySign1(other, keyOf(p256), PAYLOAD)).toMatchObject({ code: 'payload-differs' });
  });
  it.each([0, 63, 65, 72])('a signature of %i bytes is wrong, not an error', async (length) => {
    const message = { ...(await sign1([[1, -9]])), signature: new Uint8Array(length) };
    expect(verifySign1(message, keyOf(p256), PAYLOAD)).toMatchObject({ code: 'signature-wrong' });
  });
  it('a refusal says what it means', async () => {
    const verdict = verifySign1(await sign1([[1, -9]]), keyOf(p256), fromUtf8('other'));
    expect(verdict).toMatchObject({ ok: false, detail: 'the signature does not fit message and key' });
  });
});

describe('RFC 9052 4.4: COSE_Sign, several signers', () => {
  const body = map([[3, 60]]);
  let message: SignMessage;
  beforeAll(async () => {
    const layers = [
      { signer: p256, own: map([[1, -9]]) },
      { signer: ed25519, own: map([[1, -19]]) },
    ];
    const signers = await Promise.all(
      layers.map(async ({ signer, own }) => [
        own,
        new CborMap([]),
        await signer.sign(signStructure(body, own, PAYLOAD)),
      ]),
    );
    message = decodeCose(encode(new CborTag(98, [body, new CborMap([]), null, signers]))) as SignMessage;
  });

  it('each is verified by its own key', () => {
    const [first, second] = message.signers;
    expect(verifySigner(message, first!, keyOf(p256), PAYLOAD)).toMatchObject({
      ok: true,
      algorithm: { id: -9 },
    });
    expect(verifySigner(message, second!, keyOf(ed25519), PAYLOAD)).toMatchObject({
      ok: true,
      algorithm: { id: -19 },
    });
    expect(verifySigner(message, first!, keyOf(ed25519), PAYLOAD)).toMatchObject({ code: 'key-mismatch' });
    expect(verifySigner(message, first!, keyOf(p256), fromUtf8('other'))).toMatchObject({
      code: 'signature-wrong',
    });
  });
  it('the body header is signed too', () => {
    const altered = decodeCose(
      encode(
        new CborTag(98, [
          map([[3, 61]]),
          new CborMap([]),
          null,
          message.signers.map((each) => [each.headers.protectedBytes, new CborMap([]), each.signature]),
        ]),
      ),
    ) as SignMessage;
    const verdict = verifySigner(altered, altered.signers[0]!, keyOf(p256), PAYLOAD);
    expect(verdict).toMatchObject({ code: 'signature-wrong' });
  });
  it('crit of the body counts for every signer', async () => {
    const critical = map([
      [2, [34]],
      [34, [-16, EMPTY]],
    ]);
    const own = map([[1, -9]]);
    const signature = await p256.sign(signStructure(critical, own, PAYLOAD));
    const bytes = encode(
      new CborTag(98, [critical, new CborMap([]), null, [[own, new CborMap([]), signature]]]),
    );
    const read = decodeCose(bytes) as SignMessage;
    expect(verifySigner(read, read.signers[0]!, keyOf(p256), PAYLOAD)).toMatchObject({
      code: 'crit-not-understood',
    });
    const understood = [LABEL.x5t];
    expect(verifySigner(read, read.signers[0]!, keyOf(p256), PAYLOAD, { understood }).ok).toBe(true);
  });
  it('Sign and Sign1 do not convert into each other', async () => {
    const own = map([[1, -9]]);
    const { signature } = await sign1([[1, -9]]);
    const bytes = encode(
      new CborTag(98, [EMPTY, new CborMap([]), null, [[own, new CborMap([]), signature]]]),
    );
    const read = decodeCose(bytes) as SignMessage;
    expect(verifySigner(read, read.signers[0]!, keyOf(p256), PAYLOAD)).toMatchObject({
      code: 'signature-wrong',
    });
  });
  it('a signer of another message is wrong use', () => {
    const stranger = { ...message.signers[0]! };
    expect(() => verifySigner(message, stranger, keyOf(p256), PAYLOAD)).toThrow(TypeError);
  });
});

describe('RFC 9052 6.3, RFC 9053 3.1: COSE_Mac0', () => {
  it('verifies with the key, the payload and the whole tag', () => {
    expect(verifyMac0(mac0([[1, 5]]), TEST_MAC_KEY, PAYLOAD).ok).toBe(true);
  });
  it('a tag cut short or extended is wrong, never truncated to fit', () => {
    const whole = mac0([[1, 5]]).tagBytes;
    for (const tag of [whole.subarray(0, 8), whole.subarray(0, 31), Uint8Array.of(...whole, 0), EMPTY]) {
      expect(verifyMac0(mac0([[1, 5]], tag), TEST_MAC_KEY, PAYLOAD)).toMatchObject({ code: 'mac-wrong' });
    }
  });
  it('other MAC algorithms are refused, HMAC 256/64 (4) among them', () => {
    const tag = mac0([[1, 4]]).tagBytes.subarray(0, 8);
    expect(verifyMac0(mac0([[1, 4]], tag), TEST_MAC_KEY, PAYLOAD)).toMatchObject({ code: 'alg-unsupported' });
    expect(verifyMac0(mac0([[1, -9]]), TEST_MAC_KEY, PAYLOAD)).toMatchObject({ code: 'alg-unsupported' });
    expect(verifyMac0(mac0([]), TEST_MAC_KEY, PAYLOAD)).toMatchObject({ code: 'alg-missing' });
  });
  it('crit and a carried payload are judged as in signatures', () => {
    const critical = mac0([
      [1, 5],
      [2, [33]],
      [33, EMPTY],
    ]);
    expect(verifyMac0(critical, TEST_MAC_KEY, PAYLOAD)).toMatchObject({ code: 'crit-not-understood' });
    const carried = { ...mac0([[1, 5]]), payload: fromUtf8('another') };
    expect(verifyMac0(carried, TEST_MAC_KEY, PAYLOAD)).toMatchObject({ code: 'payload-differs' });
  });
  it('a key of less than 32 bytes is refused', () => {
    const short = TEST_MAC_KEY.subarray(0, 31);
    const tag = hmacSha256(short, macStructure0(map([[1, 5]]), PAYLOAD));
    expect(verifyMac0(mac0([[1, 5]], tag), short, PAYLOAD)).toMatchObject({ code: 'key-too-short' });
  });
});

describe('RFC 9053 6.1.1: COSE_Mac with a direct recipient', () => {
  const authenticated = map([[1, 5]]);
  const tag = hmacSha256(TEST_MAC_KEY, macStructure(authenticated, PAYLOAD));
  const direct: CborValue = [
    EMPTY,
    new CborMap([
      [1, -6],
      [4, fromUtf8('k')],
    ]),
    EMPTY,
  ];
  const mac = (recipients: CborValue) =>
    decodeCose(
      encode(new CborTag(97, [authenticated, new CborMap([]), null, tag, recipients])),
    ) as MacMessage;

  it('verifies', () => expect(verifyMac(mac([direct]), TEST_MAC_KEY, PAYLOAD).ok).toBe(true));
  it('MAC and MAC0 do not convert into each other', () => {
    expect(verifyMac0(mac0([[1, 5]], tag), TEST_MAC_KEY, PAYLOAD)).toMatchObject({ code: 'mac-wrong' });
  });
  it.each<[string, CborValue]>([
    ['a second recipient', [direct, direct]],
    ['key wrap', [[EMPTY, new CborMap([[1, -3]]), new Uint8Array(40)]]],
    ['no algorithm', [[EMPTY, new CborMap([]), EMPTY]]],
    ['a protected header', [[map([[1, -6]]), new CborMap([]), EMPTY]]],
    ['a conveyed key', [[EMPTY, new CborMap([[1, -6]]), new Uint8Array(32)]]],
    ['nothing where empty bytes belong', [[EMPTY, new CborMap([[1, -6]]), null]]],
    ['a nested recipient', [[EMPTY, new CborMap([[1, -6]]), EMPTY, [direct]]]],
  ])('%s is refused by name', (_, recipients) => {
    expect(verifyMac(mac(recipients), TEST_MAC_KEY, PAYLOAD)).toMatchObject({
      code: 'recipient-unsupported',
    });
  });
  it('crit of the recipient is judged', () => {
    const recipient: CborValue = [
      EMPTY,
      new CborMap([
        [1, -6],
        [2, [1]],
      ]),
      EMPTY,
    ];
    expect(verifyMac(mac([recipient]), TEST_MAC_KEY, PAYLOAD)).toMatchObject({ code: 'crit-malformed' });
  });
});

describe('the structures, bytes written by hand', () => {
  it("RFC 9052 4.4 and 6.3: an empty map enters as h''", () => {
    const empty = fromHex('a0');
    expect(signStructure1(empty, EMPTY)).toEqual(signStructure1(EMPTY, EMPTY));
    expect(macStructure0(empty, EMPTY)).toEqual(fromHex('84644d414330404040'));
    expect(macStructure(empty, EMPTY)).toEqual(fromHex('84634d4143404040'));
    expect(signStructure(empty, empty, EMPTY)).toEqual(fromHex('85695369676e617475726540404040'));
  });
});

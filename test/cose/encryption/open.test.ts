/** Opening encrypted messages: what is refused, and that no key serves another purpose. RFC 9052 5, RFC 9053 4 and 6. */
import { describe, expect, it } from 'vitest';
import { fromHex, fromUtf8, toHex } from '../../../src/bytes/index.ts';
import { CborEncoded, CborMap, CborTag, type CborValue, encode } from '../../../src/cbor/index.ts';
import {
  CoseError,
  type CoseErrorCode,
  decodeEncrypted,
  decryptWhole,
  heldWrappingKey,
  type KeyUnwrapper,
  MAX_RECIPIENTS,
  openEncrypt0,
  openEncryptionInfo,
  privateKeyUnwrapper,
  publicKeyRecipient,
  type Recipient,
  sealEncrypt0,
  sharedKeyUnwrapper,
  startEncrypt,
  wrappingKeyUnwrapper,
} from '../../../src/cose/index.ts';
import { generateAgreementKey, wrapKeyData, x25519Spki } from '../../../src/crypto/index.ts';
import { A128CTR, A128GCM, A256GCM, CHACHA, CONTENT, readInfo } from './support.ts';

type Pairs = [CborValue, CborValue][];
const bucket = (pairs: Pairs) => new CborMap(pairs);
const NONE = new Uint8Array(0);
const KEK = new Uint8Array(16).fill(0x4b);
const KID = fromUtf8('unit-7');
const WRAPPED = wrapKeyData(KEK, new Uint8Array(16).fill(1));

const wrapRecipient = (
  open: Pairs = [[1, -3]],
  authenticated: Uint8Array = NONE,
  ciphertext: CborValue = WRAPPED,
) => [authenticated, bucket(open), ciphertext];
const gcm = (recipients: CborValue = [wrapRecipient()], iv = 12) =>
  message(encode(bucket([[1, 1]])), [[5, new Uint8Array(iv)]], null, recipients);
const message = (authenticated: Uint8Array, open: Pairs, ciphertext: CborValue, recipients: CborValue) =>
  encode(new CborTag(96, [authenticated, bucket(open), ciphertext, recipients]));

const codeOf = (
  info: Uint8Array,
  unwrappers: KeyUnwrapper[] = [wrappingKeyUnwrapper(KEK, KID)],
  algorithms = CONTENT,
) => {
  const opened = openEncryptionInfo(info, unwrappers, { algorithms });
  return opened.ok ? 'opened' : opened.code;
};

describe('RFC 9052 5.1, 5.2: elements', () => {
  const decodeCode = (bytes: Uint8Array, options = {}): CoseErrorCode | 'read' => {
    try {
      decodeEncrypted(bytes, options);
      return 'read';
    } catch (error) {
      if (error instanceof CoseError) return error.code;
      throw error;
    }
  };
  it.each<[string, Uint8Array, CoseErrorCode]>([
    ['a signature', encode(new CborTag(18, [NONE, bucket([]), null, NONE])), 'not-encrypted'],
    ['an unknown tag', encode(new CborTag(997, [NONE, bucket([]), null])), 'not-encrypted'],
    ['no tag', encode([NONE, bucket([]), null, [wrapRecipient()]]), 'tag-missing'],
    ['an Encrypt of three elements', encode(new CborTag(96, [NONE, bucket([]), null])), 'structure'],
    ['no recipient', gcm([]), 'structure'],
    ['a recipient of two elements', gcm([[NONE, bucket([])]]), 'structure'],
    ['a ciphertext that is a text', message(NONE, [], 'text', [wrapRecipient()]), 'structure'],
    [
      'alg in both headers',
      message(encode(bucket([[1, 1]])), [[1, 1]], null, [wrapRecipient()]),
      'label-in-both',
    ],
    ['an IV that is a number', message(NONE, [[5, 1]], null, [wrapRecipient()]), 'header-malformed'],
    ['bytes after the end', Uint8Array.of(...gcm(), 0), 'not-cbor'],
  ])('%s is refused', (_, bytes, code) => {
    expect(decodeCode(bytes)).toBe(code);
    expect(codeOf(bytes)).toBe(code);
  });
  it('an Encrypt0 has three', () => {
    const body = [NONE, bucket([]), null];
    expect(decodeCode(encode(new CborTag(16, body)))).toBe('read');
    expect(decodeCode(encode(new CborTag(16, [...body, [wrapRecipient()]])))).toBe('structure');
    expect(codeOf(encode(new CborTag(16, body)))).toBe('kind-mismatch');
  });
  it('as many recipients as the limit are read, one more is refused', () => {
    const many = (count: number) =>
      gcm(
        Array.from({ length: count }, () =>
          wrapRecipient([
            [1, -3],
            [4, KID],
          ]),
        ),
      );
    expect(decodeCode(many(MAX_RECIPIENTS))).toBe('read');
    expect(decodeCode(many(MAX_RECIPIENTS + 1))).toBe('recipients-too-many');
  });
  it('the limit holds for recipients with ephemeral keys', async () => {
    const publicKey = generateAgreementKey('x25519').publicKey;
    const { info } = await startEncrypt({
      algorithm: A128GCM,
      recipients: [publicKeyRecipient(publicKey, KID)],
    });
    const [one] = readInfo(info).recipients;
    const p256 = new CborMap([
      [1, 2],
      [-1, 1],
      [-2, new Uint8Array(32)],
      [-3, new Uint8Array(32)],
    ]);
    const layer = [
      one!.headers.protectedBytes,
      bucket([
        [-1, p256],
        [4, KID],
      ]),
      WRAPPED,
    ];
    expect(decodeCode(gcm(Array.from({ length: MAX_RECIPIENTS }, () => layer)))).toBe('read');
  });
  it('an untagged one is read where the caller says what it is', () => {
    const untagged = encode([NONE, bucket([]), null, [wrapRecipient()]]);
    expect(decodeCode(untagged, { requireTag: false, kind: 'encrypt' })).toBe('read');
    expect(decodeCode(gcm(), { kind: 'encrypt0' })).toBe('kind-mismatch');
  });
});

describe('RFC 9052 3.1, RFC 9459 4: headers of the content', () => {
  const alg1 = encode(bucket([[1, 1]]));
  const iv = new Uint8Array(12);
  const recipients = [wrapRecipient()];
  it.each<[string, Uint8Array, string]>([
    ['the plain one', gcm(), 'opened'],
    ['no alg', message(NONE, [[5, iv]], null, recipients), 'alg-missing'],
    [
      'an alg by text',
      message(encode(bucket([[1, 'A128GCM']])), [[5, iv]], null, recipients),
      'alg-unsupported',
    ],
    [
      'an alg not known (AES-CCM)',
      message(encode(bucket([[1, 10]])), [[5, iv]], null, recipients),
      'alg-unsupported',
    ],
    [
      'GCM with open alg',
      message(
        NONE,
        [
          [1, 1],
          [5, iv],
        ],
        null,
        recipients,
      ),
      'alg-unprotected',
    ],
    [
      'CTR with protected alg',
      message(encode(bucket([[1, -65534]])), [[5, new Uint8Array(16)]], null, recipients),
      'protected-not-empty',
    ],
    [
      "CTR with protected h'a0'",
      message(
        fromHex('a0'),
        [
          [1, -65534],
          [5, new Uint8Array(16)],
        ],
        null,
        recipients,
      ),
      'protected-not-empty',
    ],
    ['no IV', message(alg1, [], null, recipients), 'iv-missing'],
    ['a partial IV', message(alg1, [[6, fromHex('61a7')]], null, recipients), 'iv-missing'],
    ['GCM with an IV of 16', gcm(recipients, 16), 'iv-length'],
    ['GCM with an IV of 0', gcm(recipients, 0), 'iv-length'],
    [
      'CTR with an IV of 12',
      message(
        NONE,
        [
          [1, -65534],
          [5, iv],
        ],
        null,
        recipients,
      ),
      'iv-length',
    ],
    [
      'crit unmet',
      message(
        encode(
          bucket([
            [1, 1],
            [2, [99]],
            [99, 0],
          ]),
        ),
        [[5, iv]],
        null,
        recipients,
      ),
      'crit-not-understood',
    ],
    [
      'crit on the IV',
      message(
        encode(
          bucket([
            [1, 1],
            [2, [5]],
            [5, iv],
          ]),
        ),
        [],
        null,
        recipients,
      ),
      'opened',
    ],
    [
      'crit unprotected',
      message(
        alg1,
        [
          [2, [1]],
          [5, iv],
        ],
        null,
        recipients,
      ),
      'crit-malformed',
    ],
    ['ciphertext inside', message(alg1, [[5, iv]], fromHex('00'), recipients), 'ciphertext-attached'],
  ])('%s', (_, bytes, code) => expect(codeOf(bytes)).toBe(code));
});

describe('RFC 9053 6.2.1: key wrap', () => {
  it.each<[string, CborValue, string]>([
    ['no kid: tried', wrapRecipient(), 'opened'],
    [
      'our kid',
      wrapRecipient([
        [1, -3],
        [4, KID],
      ]),
      'opened',
    ],
    ["protected h'a0' (the draft allows an empty map)", wrapRecipient([[1, -3]], fromHex('a0')), 'opened'],
    [
      'another kid',
      wrapRecipient([
        [1, -3],
        [4, fromUtf8('unit-8')],
      ]),
      'recipient-absent',
    ],
    [
      'a kid of text',
      wrapRecipient([
        [1, -3],
        [4, 'unit-7'],
      ]),
      'recipient-absent',
    ],
    ['alg protected', wrapRecipient([], encode(bucket([[1, -3]]))), 'recipient-malformed'],
    ['something else protected', wrapRecipient([[1, -3]], encode(bucket([[99, 0]]))), 'recipient-malformed'],
    ['no wrapped key', wrapRecipient([[1, -3]], NONE, null), 'recipient-malformed'],
    ['nothing wrapped', wrapRecipient([[1, -3]], NONE, NONE), 'content-key-wrong'],
    ['a nested recipient', [...wrapRecipient(), [wrapRecipient()]], 'recipient-malformed'],
    ['A256KW: our key has 16 bytes', wrapRecipient([[1, -5]]), 'recipient-absent'],
    ['ECDH-SS', wrapRecipient([], encode(bucket([[1, -32]]))), 'recipient-unsupported'],
    ['no alg', wrapRecipient([]), 'recipient-unsupported'],
    [
      'a content key of 32 bytes',
      wrapRecipient([[1, -3]], NONE, wrapKeyData(KEK, new Uint8Array(32))),
      'content-key-length',
    ],
    [
      'crit',
      wrapRecipient([
        [1, -3],
        [2, [1]],
      ]),
      'crit-malformed',
    ],
  ])('%s', (_, recipient, code) => expect(codeOf(gcm([recipient]))).toBe(code));
  it('a recipient of ours is found among strangers and broken ones', () => {
    const broken = wrapRecipient(
      [
        [1, -3],
        [4, KID],
      ],
      NONE,
      new Uint8Array(24),
    );
    expect(
      codeOf(
        gcm([
          broken,
          wrapRecipient([[1, -5]]),
          wrapRecipient([
            [1, -3],
            [4, KID],
          ]),
        ]),
      ),
    ).toBe('opened');
    expect(codeOf(gcm([broken, wrapRecipient([[1, -5]])]))).toBe('content-key-wrong');
  });
  it('a unit with several keys tries each', () => {
    const other = wrappingKeyUnwrapper(new Uint8Array(32));
    expect(codeOf(gcm(), [other, wrappingKeyUnwrapper(KEK)])).toBe('opened');
  });
  it.each([0, 15, 17, 33])('a key-encryption key of %i bytes is wrong use', (length) => {
    expect(() => wrappingKeyUnwrapper(new Uint8Array(length))).toThrow(TypeError);
    expect(() => heldWrappingKey(new Uint8Array(length))).toThrow(TypeError);
  });
});

describe('RFC 9053 6.3.1, 6.4.1: ECDH-ES with key wrap', () => {
  const own = generateAgreementKey('p256');
  const mine = privateKeyUnwrapper(own, KID);
  const sealed = async (recipient: Recipient) =>
    (await startEncrypt({ algorithm: A128GCM, recipients: [recipient] })).info;

  /** A fresh message, with the unprotected header of its recipient rewritten. */
  async function altered(
    change: (open: Map<CborValue, CborValue>) => void,
    keyId?: Uint8Array,
  ): Promise<Uint8Array> {
    const info = await sealed(publicKeyRecipient(own.publicKey, keyId));
    const { headers, recipients } = readInfo(info);
    const [{ headers: layer, ciphertext }] = recipients as [(typeof recipients)[0]];
    const open = new Map<CborValue, CborValue>(
      layer.entries
        .filter((entry) => !entry.isProtected)
        .map(({ label, value }) => [label as number, new CborEncoded(info.slice(value.start, value.end))]),
    );
    change(open);
    return message(headers.protectedBytes, [[5, (headers.get(5) as { value: Uint8Array }).value]], null, [
      [layer.protectedBytes, new CborMap([...open]), ciphertext],
    ]);
  }
  const coseKey = (pairs: Pairs) => (open: Map<CborValue, CborValue>) => void open.set(-1, bucket(pairs));
  const partyOf = (length: number) => (open: Map<CborValue, CborValue>) =>
    void open.set(-21, new Uint8Array(length));
  const point: Pairs = [
    [1, 2],
    [-1, 1],
    [-2, new Uint8Array(32).fill(3)],
    [-3, new Uint8Array(32).fill(4)],
  ];
  const u: Pairs = [
    [1, 1],
    [-1, 4],
    [-2, new Uint8Array(32).fill(9)],
  ];

  it.each<[string, (open: Map<CborValue, CborValue>) => void, string]>([
    ['unchanged', () => {}, 'opened'],
    ['with another kid', (open) => void open.set(4, fromUtf8('unit-8')), 'recipient-absent'],
    ['without ephemeral key', (open) => void open.delete(-1), 'ephemeral-key-wrong'],
    ['with bytes for a key', (open) => void open.set(-1, NONE), 'ephemeral-key-wrong'],
    ['with a point off the curve (invalid-curve attack)', coseKey(point), 'ephemeral-key-wrong'],
    [
      'with the point 0, 0',
      coseKey([
        [1, 2],
        [-1, 1],
        [-2, new Uint8Array(32)],
        [-3, new Uint8Array(32)],
      ]),
      'ephemeral-key-wrong',
    ],
    [
      'with a short x',
      coseKey([
        [1, 2],
        [-1, 1],
        [-2, NONE],
        [-3, true],
      ]),
      'ephemeral-key-wrong',
    ],
    ['with a key on another curve than ours', coseKey(u), 'ephemeral-key-wrong'],
    ['with a P-384 curve number', coseKey([[1, 2], [-1, 2], ...point.slice(2)]), 'ephemeral-key-wrong'],
    ['with another salt', (open) => void open.set(-20, fromHex('5a')), 'content-key-wrong'],
    ['with a salt that is a number', (open) => void open.set(-20, 1), 'recipient-malformed'],
    ['with a party identity', (open) => void open.set(-21, fromHex('00')), 'content-key-wrong'],
    ['with a party identity of text', (open) => void open.set(-24, 'us'), 'recipient-malformed'],
    ['with a derivation context of 1024 bytes', partyOf(1004), 'content-key-wrong'],
    ['with a derivation context of 1025 bytes', partyOf(1005), 'recipient-malformed'],
  ])('%s', async (_, change, code) => {
    expect(codeOf(await altered(change), [mine])).toBe(code);
  });
  it.each<[string, Pairs, string]>([
    ['alg -29', [[3, -29]], 'opened'],
    ['alg -31', [[3, -31]], 'ephemeral-key-wrong'],
    ['key_ops empty', [[4, []]], 'opened'],
    ['key_ops sign', [[4, [1]]], 'ephemeral-key-wrong'],
  ])('an ephemeral key that says %s', async (_, more, code) => {
    const info = await altered((open) => {
      const key = open.get(-1) as CborEncoded;
      const pairs = toHex(key.bytes).slice(2);
      const added = more.map(([label, value]) => toHex(encode(label)) + toHex(encode(value))).join('');
      open.set(-1, new CborEncoded(fromHex(`a5${pairs}${added}`)));
    });
    expect(codeOf(info, [mine])).toBe(code);
  });
  it('a compressed ephemeral point gives the same key', async () => {
    const info = await altered((open) => {
      const hex = toHex((open.get(-1) as CborEncoded).bytes);
      const odd = Number.parseInt(hex.slice(-1), 16) % 2 === 1;
      open.set(-1, new CborEncoded(fromHex(`${hex.slice(0, -68)}${odd ? 'f5' : 'f4'}`)));
    });
    expect(codeOf(info, [mine])).toBe('opened');
  });
  it('by kid, or by trial where either side has none', async () => {
    for (const [sent, held] of [
      [KID, KID],
      [undefined, KID],
      [KID, undefined],
      [undefined, undefined],
    ]) {
      const info = await sealed(publicKeyRecipient(own.publicKey, sent));
      expect(codeOf(info, [privateKeyUnwrapper(own, held)])).toBe('opened');
    }
  });
  it('X25519: opens on its curve, and an all-zero secret is refused (RFC 7748 6.1)', async () => {
    const device = generateAgreementKey('x25519');
    const info = await sealed(publicKeyRecipient(device.publicKey));
    expect(codeOf(info, [privateKeyUnwrapper(device)])).toBe('opened');
    expect(codeOf(info, [privateKeyUnwrapper(own)])).toBe('ephemeral-key-wrong');
    const zero = x25519Spki(new Uint8Array(32)).subarray(12);
    const weak = await altered(
      coseKey([
        [1, 1],
        [-1, 4],
        [-2, zero],
      ]),
    );
    expect(codeOf(weak, [privateKeyUnwrapper(device)])).toBe('ephemeral-key-wrong');
  });
  it('alg unprotected is refused: it would not enter the derivation', async () => {
    const { recipients } = readInfo(await sealed(publicKeyRecipient(own.publicKey)));
    const { ciphertext } = recipients[0]!;
    const layer = [
      NONE,
      bucket([
        [1, -29],
        [-1, bucket(point)],
      ]),
      ciphertext,
    ];
    expect(codeOf(gcm([layer]), [mine])).toBe('recipient-malformed');
  });
});

describe('key confusion', () => {
  const own = generateAgreementKey('p256');
  const everyKey = (kek: Uint8Array): KeyUnwrapper[] => [
    wrappingKeyUnwrapper(kek),
    privateKeyUnwrapper(own),
    sharedKeyUnwrapper({ algorithm: A128GCM, key: kek }),
  ];
  it('a key-encryption key is never taken for a content key, unless it is held as one', () => {
    const direct = gcm([[NONE, bucket([[1, -6]]), NONE]]);
    expect(codeOf(direct, [wrappingKeyUnwrapper(KEK), privateKeyUnwrapper(own)])).toBe('recipient-absent');
    expect(codeOf(direct, everyKey(KEK))).toBe('opened');
  });
  it('RFC 9459 8: the tag of AES-GCM cannot be stripped by calling the rest AES-CTR', async () => {
    const plaintext = fromUtf8('open the valve');
    const running = await startEncrypt({ algorithm: A128GCM, recipients: [heldWrappingKey(KEK)] });
    const ciphertext = running.update(plaintext);
    const { headers, recipients } = readInfo(running.info);
    const nonce = (headers.get(5) as { value: Uint8Array }).value;
    const layer = [NONE, bucket([[1, -3]]), recipients[0]!.ciphertext];
    const asCtr = message(
      NONE,
      [
        [1, -65534],
        [5, Uint8Array.of(...nonce, 0, 0, 0, 2)],
      ],
      null,
      [layer],
    );
    const held = [wrappingKeyUnwrapper(KEK)];
    const opened = openEncryptionInfo(asCtr, held, { algorithms: [A128CTR] });
    const stripped = opened.ok && decryptWhole(opened.content, ciphertext, { by: 'ciphertext-digest' });
    expect(stripped, 'the attack works where both are permitted').toEqual({ ok: true, plaintext });
    expect(codeOf(asCtr, held, [A128GCM])).toBe('alg-not-permitted');
  });
  it('a shared content key serves its own algorithm only, alone, with nothing conveyed', () => {
    const shared = { algorithm: A128GCM, key: KEK, keyId: KID };
    const direct = (ciphertext: CborValue = NONE, open: Pairs = []) => [
      NONE,
      bucket([[1, -6], ...open]),
      ciphertext,
    ];
    const of = (recipients: CborValue) => codeOf(gcm(recipients), [sharedKeyUnwrapper(shared)]);
    expect(of([direct()])).toBe('opened');
    expect(of([direct(NONE, [[4, KID]])])).toBe('opened');
    expect(of([direct(NONE, [[4, NONE]])])).toBe('recipient-absent');
    expect(of([direct(WRAPPED)])).toBe('recipient-malformed');
    expect(of([direct(null)])).toBe('recipient-malformed');
    expect(of([direct(), direct()])).toBe('direct-not-alone');
    expect(codeOf(gcm([direct()]), [sharedKeyUnwrapper({ ...shared, algorithm: A256GCM })])).toBe(
      'recipient-absent',
    );
  });
  it('external data together with AES-CTR is wrong use: nothing would check it', () => {
    const options = { algorithms: CONTENT, externalAad: fromHex('00') };
    expect(() => openEncryptionInfo(gcm(), [], options)).toThrow(TypeError);
  });
});

describe('RFC 9052 5.2: Encrypt0', () => {
  const shared = { algorithm: CHACHA, key: new Uint8Array(32).fill(5), keyId: KID };
  const plaintext = fromUtf8('sequence 12 for greenhouse controllers');
  const bytes = sealEncrypt0(shared, { plaintext, externalAad: fromHex('aa') });
  const opened = (options = {}, key = shared) => {
    const read = decodeEncrypted(bytes);
    if (read.kind !== 'encrypt0') throw new Error('not an Encrypt0');
    const content = openEncrypt0(read, key, { algorithms: [CHACHA], externalAad: fromHex('aa'), ...options });
    return content.ok ? decryptWhole(content.content, read.ciphertext!) : content;
  };
  it('opens with the shared key and the external data', () => {
    expect(opened()).toEqual({ ok: true, plaintext });
    expect(toHex(bytes)).not.toContain(toHex(plaintext));
  });
  it.each([
    ['other external data', { externalAad: fromHex('ab') }, shared, 'ciphertext-changed'],
    ['another key', {}, { ...shared, key: new Uint8Array(32) }, 'ciphertext-changed'],
    ['another kid', {}, { ...shared, keyId: NONE }, 'recipient-absent'],
    ['a key for another algorithm', {}, { ...shared, algorithm: A256GCM }, 'recipient-absent'],
    ['an algorithm not permitted', { algorithms: [A128GCM] }, shared, 'alg-not-permitted'],
    ['keys held for another algorithm', { keyAlgorithm: A128GCM }, shared, 'alg-not-permitted'],
  ])('%s', (_, options, key, code) => expect(opened(options, key as typeof shared)).toMatchObject({ code }));
});

/**
 * draft-ietf-suit-firmware-encryption-24: the worked examples of sections 6.1.2 (A128KW and A128GCM) and 6.2.3
 * (ECDH-ES+A128KW and A128CTR) inline, every example of the vector file where it is at hand. The keys are published
 * test keys.
 */
import { describe, expect, it } from 'vitest';
import { fromHex, fromUtf8, toHex } from '../../../src/bytes/index.ts';
import { CborError, type CborItem, decode } from '../../../src/cbor/index.ts';
import { kdfContext } from '../../../src/cose/encryption/kdf-context.ts';
import {
  type AgreementAlgorithm,
  type ContentAlgorithm,
  contentAlgorithm,
  decryptWhole,
  encryptionInfoSize,
  heldWrappingKey,
  type KeyUnwrapper,
  keyDistribution,
  openEncryptionInfo,
  privateKeyUnwrapper,
  publicKeyRecipient,
  type Recipient,
  recipientSize,
  SUIT_PAYLOAD_ENCRYPTION,
  startEncrypt,
  wrappingKeyUnwrapper,
} from '../../../src/cose/index.ts';
import { generateAgreementKey, readAgreementKey, sha256 } from '../../../src/crypto/index.ts';
import { p256PrivateKey } from '../../crypto/private-keys.ts';
import { vectors, vectorsPresent } from '../../vectors.ts';
import { A128CTR, A128GCM, CONTENT, readInfo, scripted } from './support.ts';

const PLAINTEXT = fromUtf8('This is a real firmware image.');
const KEK = fromUtf8('a'.repeat(16));
const KID_1 = fromUtf8('kid-1');
const RECEIVER = p256PrivateKey('60fe6dd6d85d5740a5349b6f91267eeac5ba81b8cb53ee249e4b4eb102c476b3');

const AES_KW = {
  info: 'd8608443a10101a1054cf14aab9d81d51f7ad943fe87f6818340a2012204456b69642d31581875603ffc9518d794713c8ca8a115a7fb32565a6d59534d62',
  payload: '758c4b7bbae2c4c1d462423e0f0dc3164ffa7b85bb94d4bd6d7ed26ab32feb063385d4d3465927ec82cb5e198a59',
  cek: '15f785b5c931414411b4b71373a9c0f7',
  iv: 'f14aab9d81d51f7ad943fe87',
};

const open = (
  info: string,
  unwrapper: KeyUnwrapper,
  other: Uint8Array | undefined = SUIT_PAYLOAD_ENCRYPTION,
) => openEncryptionInfo(fromHex(info), [unwrapper], { algorithms: CONTENT, ...(other && { other }) });

describe('6.1.2: AES-KW + AES-GCM', () => {
  const mine = wrappingKeyUnwrapper(KEK, KID_1);
  it('gives the published content key, IV and plaintext', () => {
    const opened = open(AES_KW.info, mine);
    if (!opened.ok) return expect.unreachable(opened.detail);
    expect([toHex(opened.content.key), toHex(opened.content.iv)]).toEqual([AES_KW.cek, AES_KW.iv]);
    expect(decryptWhole(opened.content, fromHex(AES_KW.payload))).toEqual({ ok: true, plaintext: PLAINTEXT });
  });
  it('is written again, byte for byte, from the same content key and IV', async () => {
    const running = await startEncrypt({
      algorithm: A128GCM,
      recipients: [heldWrappingKey(KEK, KID_1)],
      other: SUIT_PAYLOAD_ENCRYPTION,
      random: scripted(fromHex(AES_KW.cek), fromHex(AES_KW.iv)),
    });
    const payload = toHex(running.update(PLAINTEXT)) + toHex(running.final());
    expect([toHex(running.info), payload]).toEqual([AES_KW.info, AES_KW.payload]);
  });
  it('does not open under another key, another kid, or as a changed payload', () => {
    expect(open(AES_KW.info, wrappingKeyUnwrapper(new Uint8Array(16), KID_1))).toMatchObject({
      code: 'content-key-wrong',
    });
    expect(open(AES_KW.info, wrappingKeyUnwrapper(KEK, fromUtf8('kid-2')))).toMatchObject({
      code: 'recipient-absent',
    });
    const opened = open(AES_KW.info, mine);
    const changed = fromHex(AES_KW.payload);
    changed[3]! ^= 4;
    expect(opened.ok && decryptWhole(opened.content, changed)).toMatchObject({ code: 'ciphertext-changed' });
  });
});

/** Section 5.2.4: the context structure, and the bytes it encodes to. */
describe('5.2.4: COSE_KDF_Context', () => {
  const headers = readInfo(
    fromHex(
      `d8608440a20139fffd0550${'00'.repeat(16)}f6818344a101381ca120a401022001215820${'00'.repeat(32)}225820${'00'.repeat(32)}5818${'00'.repeat(24)}`,
    ),
  ).recipients[0]!.headers;
  const algorithm = keyDistribution(-29);
  if (algorithm?.kind !== 'agreement') throw new Error('-29 is an agreement');

  it('[-3, [nil x 3], [nil x 3], [128, protected, the text as a byte string]]', () => {
    const context = kdfContext({ algorithm, headers, other: SUIT_PAYLOAD_ENCRYPTION });
    expect(toHex(context)).toBe(
      `842283f6f6f683f6f6f683188044a101381c57${toHex(fromUtf8('SUIT Payload Encryption'))}`,
    );
  });
  it('RFC 9053 5.2: a plain COSE message has no "other"', () => {
    expect(toHex(kdfContext({ algorithm, headers }))).toBe('842283f6f6f683f6f6f682188044a101381c');
  });
});

describe('what we seal, with every algorithm of the mandatory profiles (draft-ietf-suit-mti)', () => {
  const publicKey = readAgreementKey(RECEIVER.publicKey.spki)!;
  const ways = [
    ['A128KW', heldWrappingKey(KEK, KID_1), wrappingKeyUnwrapper(KEK, KID_1)],
    ['A256KW', heldWrappingKey(new Uint8Array(32).fill(9)), wrappingKeyUnwrapper(new Uint8Array(32).fill(9))],
    ['ECDH-ES+A128KW', publicKeyRecipient(publicKey), privateKeyUnwrapper(RECEIVER)],
  ] as const;
  const rows = ways.flatMap((way) => CONTENT.map((content) => [...way, content] as const));

  it.each(rows)('%s opens, %#', async (name, recipient, unwrapper, algorithm) => {
    expect(recipient.algorithm.name).toBe(name);
    const running = await startEncrypt({
      algorithm,
      recipients: [recipient],
      other: SUIT_PAYLOAD_ENCRYPTION,
    });
    const payload = toHex(running.update(PLAINTEXT)) + toHex(running.final());
    const opened = open(toHex(running.info), unwrapper);
    if (!opened.ok) return expect.unreachable(opened.detail);
    expect(opened.content.algorithm).toBe(algorithm);
    const basis = { by: 'plaintext-digest', sha256: sha256(PLAINTEXT) } as const;
    expect(decryptWhole(opened.content, fromHex(payload), basis)).toEqual({ ok: true, plaintext: PLAINTEXT });
  });
  it('5.2.4: an agreed key is bound to its use: as a plain COSE message the info does not open', async () => {
    const { info } = await startEncrypt({
      algorithm: A128CTR,
      recipients: [publicKeyRecipient(publicKey)],
      other: SUIT_PAYLOAD_ENCRYPTION,
    });
    const asPlain = openEncryptionInfo(info, [privateKeyUnwrapper(RECEIVER)], { algorithms: CONTENT });
    expect(asPlain).toMatchObject({ ok: false, code: 'content-key-wrong' });
  });
  it('6: AES-CTR has a protected header of no bytes and its alg unprotected, AEAD the other way round', async () => {
    const infoOf = async (algorithm: ContentAlgorithm) =>
      readInfo((await startEncrypt({ algorithm, recipients: [heldWrappingKey(KEK, KID_1)] })).info);
    const ctr = await infoOf(A128CTR);
    expect(toHex(ctr.headers.protectedBytes)).toBe('');
    expect(ctr.headers.entries.map(({ label }) => label)).toEqual([1, 5]);
    expect(ctr.headers.get(5)).toMatchObject({ type: 'bytes', value: { length: 16 } });
    const gcm = await infoOf(A128GCM);
    expect(toHex(gcm.headers.protectedBytes)).toBe('a10101');
    expect(gcm.headers.get(5)).toMatchObject({ type: 'bytes', value: { length: 12 } });
    expect([ctr.ciphertext, gcm.ciphertext]).toEqual([null, null]);
  });
});

interface Case {
  id: string;
  kind: string;
  encryptionInfoHex: string;
  encryptedPayloadHex: string;
  plaintextHex: string;
  contentAlgorithm: number;
  keyDistribution: number;
  kekKey?: string;
  recipientKey?: string;
  cekHex: string;
  ivHex: string;
  kdfContextHex?: string;
  envelopeHex?: string;
}

interface Key {
  id: string;
  kidText?: string;
  kHex?: string;
  dHex?: string;
}

describe.skipIf(!vectorsPresent)('the vector file', () => {
  const file: { keys: Key[]; cases: Case[] } = vectorsPresent
    ? vectors('suit-encryption-examples')
    : { keys: [], cases: [] };
  const infos = file.cases.filter((each) => each.kind === 'encryption-info');
  const manifests = file.cases.filter((each) => each.kind === 'manifest');

  function unwrapperOf(each: Case): KeyUnwrapper {
    const key = file.keys.find(({ id }) => id === (each.kekKey ?? each.recipientKey))!;
    const keyId = fromUtf8(key.kidText!);
    return key.kHex
      ? wrappingKeyUnwrapper(fromHex(key.kHex), keyId)
      : privateKeyUnwrapper(p256PrivateKey(key.dHex!), keyId);
  }

  function opens(info: string, payload: string, each: Case) {
    const opened = open(info, unwrapperOf(each));
    if (!opened.ok) return expect.unreachable(opened.detail);
    const basis = opened.content.algorithm.mode === 'ctr' ? 'ciphertext-digest' : 'tag';
    const outcome = decryptWhole(opened.content, fromHex(payload), { by: basis });
    expect(outcome.ok && toHex(outcome.plaintext)).toBe(each.plaintextHex);
    return opened.content;
  }

  it('has nothing but encryption infos and manifests', () => {
    expect(infos.length + manifests.length).toBe(file.cases.length);
    expect(file.cases.length).toBeGreaterThan(0);
  });
  it.each(infos)('$id: content key, IV, KDF context and plaintext', (each) => {
    const content = opens(each.encryptionInfoHex, each.encryptedPayloadHex, each)!;
    expect(content.algorithm).toBe(contentAlgorithm(each.contentAlgorithm));
    expect([toHex(content.key), toHex(content.iv)]).toEqual([each.cekHex, each.ivHex]);
    const { headers } = readInfo(fromHex(each.encryptionInfoHex)).recipients[0]!;
    const algorithm = keyDistribution(each.keyDistribution)!;
    if (algorithm.kind !== 'agreement') return;
    const context = kdfContext({ algorithm, headers, other: SUIT_PAYLOAD_ENCRYPTION });
    expect(toHex(context)).toBe(each.kdfContextHex);
  });
  it.each(manifests)('$id: what it encrypts, and the content where the manifest carries it', (each) => {
    const parameters = parameterMaps(decode(fromHex(each.envelopeHex!), { sortedKeys: false }));
    const encrypted = parameters.filter((map) => map.has(19));
    expect(encrypted.length).toBeGreaterThan(0);
    for (const map of encrypted) {
      const [info, content] = [toHex(map.get(19)!), map.get(18)];
      if (content) opens(info, toHex(content), each);
      else expect(open(info, unwrapperOf(each))).toMatchObject({ ok: true });
    }
  });
});

/** Every map in an item, and in the CBOR within its byte strings, that could be one of SUIT_Parameters: its bytes by key. */
function parameterMaps(item: CborItem): Map<number, Uint8Array>[] {
  if (item.type === 'tag') return parameterMaps(item.item);
  if (item.type === 'array') return item.items.flatMap(parameterMaps);
  if (item.type === 'bytes') return embedded(item.value).flatMap(parameterMaps);
  if (item.type !== 'map') return [];
  const bytes = item.entries.flatMap(({ key, value }) =>
    key.type === 'uint' && value.type === 'bytes' ? [[Number(key.value), value.value] as const] : [],
  );
  return [new Map(bytes), ...item.entries.flatMap(({ value }) => parameterMaps(value))];
}

function embedded(bytes: Uint8Array): CborItem[] {
  try {
    return [decode(bytes, { sortedKeys: false })];
  } catch (error) {
    if (error instanceof CborError) return [];
    throw error;
  }
}

describe('sizes are told before anything is sealed', () => {
  const publicKey = readAgreementKey(RECEIVER.publicKey.spki)!;
  const x25519 = generateAgreementKey('x25519').publicKey;
  const agreement = keyDistribution(-29) as AgreementAlgorithm;

  function mixed(i: number): Recipient {
    const keyId = i % 2 ? undefined : new Uint8Array(i % 40);
    if (i % 3 === 0) return heldWrappingKey(new Uint8Array(i % 2 ? 16 : 32), keyId);
    return publicKeyRecipient(i % 3 === 1 ? publicKey : x25519, keyId);
  }

  it('38 bytes for A128KW with a 5-byte kid, 109 for ECDH-ES+A128KW without, as in the published examples', () => {
    expect(recipientSize({ algorithm: heldWrappingKey(KEK).algorithm, keyIdLength: 5 }, A128GCM)).toBe(38);
    expect(recipientSize({ algorithm: agreement }, A128CTR)).toBe(109);
    const { span } = readInfo(fromHex(AES_KW.info));
    expect(encryptionInfoSize([{ algorithm: heldWrappingKey(KEK).algorithm, keyIdLength: 5 }], A128GCM)).toBe(
      span.end,
    );
  });
  it('of every kind, number, kid and content algorithm, exactly', async () => {
    for (const algorithm of CONTENT) {
      for (const count of [1, 3, 24, 300]) {
        const recipients = Array.from({ length: count }, (_, i) => mixed(i));
        const forms = recipients.map((each) => ({
          algorithm: each.algorithm,
          keyIdLength: each.keyId?.length,
          ...('publicKey' in each && { curve: each.publicKey.curve }),
        }));
        const { info } = await startEncrypt({ algorithm, recipients });
        expect(encryptionInfoSize(forms, algorithm)).toBe(info.length);
      }
    }
  });
});

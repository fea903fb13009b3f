/**
 * HSS/LMS keys in a token: PKCS#11 v3.1 section 6.14, which no module at hand offers. A stand-in plays the token, its
 * signatures made by what RFC 8554's and RFC 9858's own examples prove (test/crypto).
 */
import { endianness } from 'node:os';
import type { Handle, Template, TokenInfo } from 'pkcs11js';
import { describe, expect, it } from 'vitest';
import {
  HssTrees,
  hssShape,
  parseHssShape,
  readPublicKey,
  spentLeaf,
  verifySignature,
} from '../../src/crypto/index.ts';
import { type AttributeName, CKA, TOKEN_FLAG } from '../../src/keys/token/constants.ts';
import { generateHssPair, hssKeysRemaining, openHssPair } from '../../src/keys/token/hss.ts';
import { answerOf, type Cryptoki } from '../../src/keys/token/module.ts';
import { TokenSession } from '../../src/keys/token/session.ts';
import { codeOf, failureOf, unattended } from './support.ts';

const URI = { token: 'desk', object: 'k' };
const PLACE = { uri: URI, label: 'k', id: Uint8Array.of(1) };
const SHAPE = parseHssShape('H5/W2,H5/W4')!;
const MESSAGE = Uint8Array.of(1, 2, 3);
const SOUND = {
  ...{ CKA_TOKEN: true, CKA_PRIVATE: true, CKA_SENSITIVE: true, CKA_EXTRACTABLE: false, CKA_COPYABLE: false },
  ...{ CKA_ALWAYS_SENSITIVE: true, CKA_NEVER_EXTRACTABLE: true, CKA_LOCAL: true, CKA_SIGN: true },
  ...{ CKA_DECRYPT: false, CKA_UNWRAP: false, CKA_DERIVE: false },
};
const CKM_HSS_KEY_PAIR_GEN = 0x4032;
const CKM_HSS = 0x4033;

type Values = Partial<Record<AttributeName, boolean | number | Uint8Array>>;

/** A token that knows CKM_HSS: the key it makes has these attributes; `last` is the number of leaves it will use. */
function standIn(changes: Values = {}, last = 1024n) {
  const destroyed: Handle[] = [];
  const templates: Template[] = [];
  let trees: HssTrees | undefined;
  let next = 0n;
  const info = { label: 'desk', serialNumber: '1', model: 'm', flags: TOKEN_FLAG.initialized } as TokenInfo;
  const values = (): Values => ({
    ...SOUND,
    CKA_VALUE: trees?.publicKey() ?? new Uint8Array(),
    CKA_HSS_KEYS_REMAINING: Number(last - next),
    ...changes,
  });
  const module = {
    C_GetSlotList: () => [Buffer.alloc(8)],
    C_GetTokenInfo: () => info,
    C_OpenSession: () => Buffer.alloc(8),
    C_CloseSession: () => {},
    C_FindObjectsInit: () => {},
    C_FindObjects: () => [Buffer.of(1)],
    C_FindObjectsFinal: () => {},
    C_GenerateKeyPair: (
      _s: Handle,
      { mechanism }: { mechanism: number },
      _p: Template,
      template: Template,
    ) => {
      if (mechanism !== CKM_HSS_KEY_PAIR_GEN) throw new Error('CKR_MECHANISM_INVALID:112');
      templates.push(template);
      const types = (name: AttributeName) =>
        ulongs(template.find(({ type }) => type === CKA[name])!.value as Buffer);
      const ots = types('CKA_HSS_LMOTS_TYPES');
      const shape = hssShape(types('CKA_HSS_LMS_TYPES').map((lms, i) => ({ lms, ots: ots[i]! })))!;
      trees = new HssTrees({ shape, master: new Uint8Array(32).fill(5) });
      return { privateKey: Buffer.of(1), publicKey: Buffer.of(2) };
    },
    C_DestroyObject: (_s: Handle, object: Handle) => void destroyed.push(object),
    C_GetAttributeValue: (_s: Handle, _o: Handle, [{ type }]: [{ type: number }]) => {
      const name = Object.entries(CKA).find(([, number]) => number === type)![0];
      const value = values()[name as AttributeName];
      if (value === undefined) throw new Error('CKR_ATTRIBUTE_TYPE_INVALID:18');
      if (typeof value === 'number') return [{ type, value: ulong(value) }];
      return [{ type, value: typeof value === 'boolean' ? Buffer.of(value ? 1 : 0) : Buffer.from(value) }];
    },
    C_SignInit: (_s: Handle, { mechanism }: { mechanism: number }) => {
      if (mechanism !== CKM_HSS) throw new Error('CKR_MECHANISM_INVALID:112');
    },
    C_SignAsync: async (_s: Handle, data: Buffer, output: Buffer) => {
      if (next >= last) throw Object.assign(new Error('unknown answer'), { code: 0x203 });
      const signature = trees!.sign(next++, new Uint8Array(data));
      expect(output.length).toBe(signature.length);
      return Buffer.from(signature);
    },
  };
  const cryptoki = module as unknown as { -readonly [K in keyof Cryptoki]: Cryptoki[K] };
  return Object.assign(cryptoki, { destroyed, templates });
}

/** CK_ULONG values of 8 bytes, as on the 64-bit machines that run these tests. */
function ulongs(bytes: Buffer): number[] {
  return Array.from({ length: bytes.length / 8 }, (_, i) =>
    Number(endianness() === 'LE' ? bytes.readBigUInt64LE(i * 8) : bytes.readBigUInt64BE(i * 8)),
  );
}

function ulong(value: number): Buffer {
  const bytes = Buffer.alloc(8);
  if (endianness() === 'LE') bytes.writeBigUInt64LE(BigInt(value));
  else bytes.writeBigUInt64BE(BigInt(value));
  return bytes;
}

function open(module: Cryptoki): Promise<TokenSession> {
  return TokenSession.open(module, { uri: URI, secrets: unattended({}) });
}

describe('CKM_HSS_KEY_PAIR_GEN', () => {
  it('gets levels and types, top first, in the private key template; never extractable, never copied', async () => {
    const module = standIn();
    const { publicKey, attributes } = generateHssPair(await open(module), PLACE, SHAPE);
    const asked = Object.fromEntries(module.templates[0]!.map(({ type, value }) => [type, value]));
    expect(asked[CKA.CKA_HSS_LEVELS]).toBe(2);
    expect(ulongs(asked[CKA.CKA_HSS_LMS_TYPES] as Buffer)).toEqual([5, 5]);
    expect(ulongs(asked[CKA.CKA_HSS_LMOTS_TYPES] as Buffer)).toEqual([2, 3]);
    expect([asked[CKA.CKA_EXTRACTABLE], asked[CKA.CKA_SENSITIVE], asked[CKA.CKA_COPYABLE]]).toEqual([
      false,
      true,
      false,
    ]);
    expect(publicKey.type).toBe('hss-lms');
    expect(attributes.find(({ name }) => name === 'CKA_COPYABLE')).toMatchObject({
      found: 'false',
      ok: true,
    });
  });

  it.each([
    ['CKA_COPYABLE', true, 'token-key-weak'],
    ['CKA_EXTRACTABLE', true, 'token-key-weak'],
    ['CKA_VALUE', new Uint8Array(60), 'token-failed'],
    ['CKA_VALUE', new Uint8Array(), 'token-failed'],
  ] as const)('%s %s: destroyed again, %s', async (name, value, code) => {
    const module = standIn({ [name]: value });
    const session = await open(module);
    expect(await codeOf(() => generateHssPair(session, PLACE, SHAPE))).toBe(code);
    expect(module.destroyed).toHaveLength(2);
  });

  it('a key of other parameters than were asked for is destroyed again', async () => {
    const other = new HssTrees({ shape: parseHssShape('H5/W2')!, master: new Uint8Array(32) }).publicKey();
    const module = standIn({ CKA_VALUE: other });
    const session = await open(module);
    expect(await codeOf(() => generateHssPair(session, PLACE, SHAPE))).toBe('token-failed');
    expect(module.destroyed).toHaveLength(2);
  });

  it('a token that does not know it says so', async () => {
    const module = standIn();
    module.C_GenerateKeyPair = () => {
      throw new Error('CKR_MECHANISM_INVALID:112');
    };
    const session = await open(module);
    const error = await failureOf(() => generateHssPair(session, PLACE, SHAPE));
    expect(error.code).toBe('token-mechanism');
    expect(error.hint).toContain('CKM_HSS');
  });
});

describe('CKM_HSS', () => {
  it('signs the message itself; each signature uses the next leaf, and is verified before it is given out', async () => {
    const module = standIn();
    const session = await open(module);
    const { publicKey } = generateHssPair(session, PLACE, SHAPE);
    const signer = openHssPair(session, URI, publicKey, SHAPE);
    expect(signer.algorithm.id).toBe(-46);
    const key = readPublicKey(signer.publicKey)!;
    for (const leaf of [0n, 1n]) {
      const signature = await signer.sign(MESSAGE);
      expect(verifySignature(key, MESSAGE, signature)).toBe(true);
      expect(spentLeaf(key, signature)?.leaf).toBe(leaf);
    }
    expect(hssKeysRemaining(session, URI)).toBe(1022);
  });

  it('CKR_KEY_EXHAUSTED: said in clear words', async () => {
    const session = await open(standIn({}, 1n));
    const { publicKey } = generateHssPair(session, PLACE, SHAPE);
    const signer = openHssPair(session, URI, publicKey, SHAPE);
    await signer.sign(MESSAGE);
    const error = await failureOf(() => signer.sign(MESSAGE));
    expect(error.code).toBe('token-key-used-up');
    expect(error.message).toContain('never make another signature');
  });

  it('a signature that the key on record does not verify is not given out', async () => {
    const session = await open(standIn());
    generateHssPair(session, PLACE, SHAPE);
    const stranger = new HssTrees({ shape: SHAPE, master: new Uint8Array(32).fill(9) });
    const { publicKey } = generateHssPair(
      await open(standIn({ CKA_VALUE: stranger.publicKey() })),
      PLACE,
      SHAPE,
    );
    expect(await codeOf(() => openHssPair(session, URI, publicKey, SHAPE).sign(MESSAGE))).toBe(
      'signature-faulty',
    );
  });

  it('a key that can be copied is not signed with', async () => {
    const session = await open(standIn());
    const { publicKey } = generateHssPair(session, PLACE, SHAPE);
    const copied = await open(standIn({ CKA_COPYABLE: true }));
    expect(await codeOf(() => openHssPair(copied, URI, publicKey, SHAPE))).toBe('token-key-weak');
  });

  it('answers that the addon knows by number only are known by name', () => {
    expect(answerOf(Object.assign(new Error('unknown'), { code: 0x203 }))).toBe('CKR_KEY_EXHAUSTED');
    expect(answerOf(Object.assign(new Error('unknown'), { code: 'ENOENT' }))).toBeUndefined();
  });
});

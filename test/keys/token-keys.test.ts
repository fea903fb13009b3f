/** Tokens that behave as SoftHSM2 does not: other attributes, other forms. From a stand-in for the module. */
import { generateKeyPairSync } from 'node:crypto';
import type { Handle, Template, TokenInfo } from 'pkcs11js';
import { describe, expect, it } from 'vitest';
import { concat, fromHex } from '../../src/bytes/index.ts';
import { type AttributeName, CKA, TOKEN_FLAG } from '../../src/keys/token/constants.ts';
import type { Cryptoki } from '../../src/keys/token/module.ts';
import { generateMacKey, makeWrappingKey, wrapInside } from '../../src/keys/token/secret.ts';
import { TokenSession } from '../../src/keys/token/session.ts';
import { generatePair } from '../../src/keys/token/signing.ts';
import { codeOf, failureOf, unattended } from './support.ts';

const PLACE = { uri: { token: 'desk', object: 'k' }, label: 'k', id: Uint8Array.of(1) };
const SOUND = {
  CKA_TOKEN: true,
  CKA_PRIVATE: true,
  CKA_SENSITIVE: true,
  CKA_EXTRACTABLE: false,
  CKA_ALWAYS_SENSITIVE: true,
  CKA_NEVER_EXTRACTABLE: true,
  CKA_LOCAL: true,
  CKA_SIGN: true,
  CKA_DECRYPT: false,
  CKA_UNWRAP: false,
  CKA_DERIVE: false,
} as const;
const WRAPPABLE = { ...SOUND, CKA_EXTRACTABLE: true, CKA_WRAP: false } as const;

describe('CKA_EC_POINT (PKCS#11 v3.2 6.3.3): in an OCTET STRING, or bare', () => {
  it.each([
    ['p256', '3059301306072a8648ce3d020106082a8648ce3d030107034200', '0441'],
    ['ed25519', '302a300506032b6570032100', '0420'],
  ] as const)('%s: both give the same public key', async (type, head, wrapper) => {
    const spki = spkiOf(type);
    const point = spki.slice(fromHex(head).length);
    for (const value of [point, concat(fromHex(wrapper), point)]) {
      const session = await open(standIn({ ...SOUND, CKA_EC_POINT: value }));
      expect(generatePair(session, PLACE, type, false).publicKey.spki).toEqual(spki);
    }
  });

  it.each([
    ['nothing', new Uint8Array()],
    ['a point that is not on the curve', concat(fromHex('0441'), new Uint8Array(65).fill(4))],
    ['a compressed point', new Uint8Array(33).fill(2)],
    [
      'an OCTET STRING with bytes behind it',
      concat(fromHex('0441'), spkiOf('p256').slice(26), fromHex('00')),
    ],
  ])('%s is no public key: the pair is destroyed again', async (_, value) => {
    const module = standIn({ ...SOUND, CKA_EC_POINT: value });
    const session = await open(module);
    expect(await codeOf(() => generatePair(session, PLACE, 'p256', false))).toBe('token-failed');
    expect(module.destroyed).toHaveLength(2);
  });
});

describe('a key that does not read back as it must is destroyed again', () => {
  it.each([
    ['CKA_EXTRACTABLE', true],
    ['CKA_SENSITIVE', false],
    ['CKA_NEVER_EXTRACTABLE', false],
    ['CKA_LOCAL', false],
  ] as const)('a signing key with %s %s', async (name, value) => {
    const module = standIn({ ...SOUND, [name]: value, CKA_EC_POINT: spkiOf('p256').slice(26) });
    const session = await open(module);
    const error = await failureOf(() => generatePair(session, PLACE, 'p256', false));
    expect(error.code).toBe('token-key-weak');
    expect(error.message).toContain(`${name} is ${value}, wanted ${!value}`);
    expect(module.destroyed).toHaveLength(2);
  });

  it('a class key that is not sensitive; a wrapping key that lost its trust', async () => {
    const weak = standIn({ ...WRAPPABLE, CKA_SENSITIVE: false });
    const session = await open(weak);
    expect(await codeOf(() => generateMacKey(session, PLACE))).toBe('token-key-weak');
    const untrusted = standIn({ ...SOUND, CKA_WRAP: true, CKA_TRUSTED: false });
    const officer = await open(untrusted);
    expect(await codeOf(() => makeWrappingKey(officer, PLACE, true))).toBe('token-key-weak');
    expect([...weak.destroyed, ...untrusted.destroyed]).toHaveLength(2);
  });
});

describe('a token that does not know an attribute', () => {
  it('gets the key made without it, and the record says so', async () => {
    const module = standIn({ ...SOUND, CKA_EC_POINT: spkiOf('p256').slice(26) }, [
      'CKA_ALLOWED_MECHANISMS',
      'CKA_ALWAYS_AUTHENTICATE',
    ]);
    const { attributes } = generatePair(await open(module), PLACE, 'p256', true);
    expect(attributes.at(-1)).toEqual({
      name: 'CKA_ALWAYS_AUTHENTICATE',
      found: 'not known to this token',
      wanted: null,
      ok: null,
    });
    expect(module.asked).toEqual([true, true, false]);
  });

  it('keeps what it knows: ALWAYS_AUTHENTICATE though ALLOWED_MECHANISMS is unknown', async () => {
    const known = { ...SOUND, CKA_ALWAYS_AUTHENTICATE: true, CKA_EC_POINT: spkiOf('p256').slice(26) };
    const module = standIn(known, ['CKA_ALLOWED_MECHANISMS']);
    const { attributes } = generatePair(await open(module), PLACE, 'p256', true);
    expect(attributes.at(-1)).toMatchObject({ name: 'CKA_ALWAYS_AUTHENTICATE', found: 'true' });
  });

  it('a class key without CKA_WRAP_WITH_TRUSTED', async () => {
    const module = standIn(WRAPPABLE, ['CKA_WRAP_WITH_TRUSTED', 'CKA_ALLOWED_MECHANISMS']);
    const rows = generateMacKey(await open(module), PLACE);
    expect(rows.at(-1)).toMatchObject({ name: 'CKA_WRAP_WITH_TRUSTED', found: 'not known to this token' });
  });

  it('but every other refusal stands', async () => {
    const module = standIn(SOUND);
    module.C_GenerateKeyPair = () => {
      throw new Error('CKR_MECHANISM_INVALID:112');
    };
    const session = await open(module);
    expect(await codeOf(() => generatePair(session, PLACE, 'ed25519', false))).toBe('token-mechanism');
  });
});

describe('RFC 3394: a wrapping of another length is none', () => {
  it('a token that pads is found out', async () => {
    const module = standIn(WRAPPABLE);
    module.C_WrapKey = (() => Buffer.alloc(48)) as unknown as Cryptoki['C_WrapKey'];
    const session = await open(module);
    const kek = { token: 'desk', object: 'bench' };
    expect(await codeOf(() => wrapInside(session, PLACE.uri, kek))).toBe('token-mechanism');
  });
});

type Values = Partial<Record<AttributeName, boolean | Uint8Array>>;

/** A module whose keys have these attributes, and that refuses templates with an unknown one. */
function standIn(values: Values, unknown: readonly AttributeName[] = []) {
  const destroyed: Handle[] = [];
  const asked: boolean[] = [];
  const info = { label: 'desk', serialNumber: '1', model: 'm', flags: TOKEN_FLAG.initialized } as TokenInfo;
  const make = (template: Template) => {
    const refused = unknown.some((name) => template.some(({ type }) => type === CKA[name]));
    asked.push(template.some(({ type }) => type === CKA.CKA_ALWAYS_AUTHENTICATE));
    if (refused) throw new Error('CKR_ATTRIBUTE_TYPE_INVALID:18');
    return Buffer.of(1);
  };
  const module = {
    C_GetSlotList: () => [Buffer.alloc(8)],
    C_GetTokenInfo: () => info,
    C_OpenSession: () => Buffer.alloc(8),
    C_FindObjectsInit: () => {},
    C_FindObjects: () => [Buffer.of(1)],
    C_FindObjectsFinal: () => {},
    C_GenerateKey: (_s: Handle, _m: unknown, template: Template) => make(template),
    C_GenerateKeyPair: (_s: Handle, _m: unknown, _p: Template, template: Template) => ({
      privateKey: make(template),
      publicKey: Buffer.of(2),
    }),
    C_DestroyObject: (_s: Handle, object: Handle) => void destroyed.push(object),
    C_GetAttributeValue: (_s: Handle, _o: Handle, [{ type }]: [{ type: number }]) => {
      const value = attribute(values, type);
      if (value === undefined) throw new Error('CKR_ATTRIBUTE_TYPE_INVALID:18');
      return [{ type, value: typeof value === 'boolean' ? Buffer.of(value ? 1 : 0) : Buffer.from(value) }];
    },
  };
  const cryptoki = module as unknown as { -readonly [K in keyof Cryptoki]: Cryptoki[K] };
  return Object.assign(cryptoki, { destroyed, asked });
}

function attribute(values: Values, type: number): boolean | Uint8Array | undefined {
  const name = Object.entries(CKA).find(([, number]) => number === type)![0];
  return values[name as AttributeName];
}

function open(module: Cryptoki): Promise<TokenSession> {
  return TokenSession.open(module, { uri: { token: 'desk' }, secrets: unattended({}) });
}

function spkiOf(type: 'p256' | 'ed25519'): Uint8Array {
  const pair =
    type === 'p256'
      ? generateKeyPairSync('ec', { namedCurve: 'prime256v1' })
      : generateKeyPairSync('ed25519');
  return new Uint8Array(pair.publicKey.export({ format: 'der', type: 'spki' }));
}

/** The crypto ports of the device kit against published vectors, on this machine and on an emulated Cortex-M3. */
import { describe, expect, it } from 'vitest';
import { counted, record, u32 } from '../../scripts/device/case-file.ts';
import { runCases, type Target } from '../../scripts/device/runner.ts';
import { concat, fromHex } from '../../src/bytes/index.ts';
import {
  HssTrees,
  hssCapacity,
  parseHssShape,
  sha256,
  startAesCtr,
  wrapKeyData,
} from '../../src/crypto/index.ts';
import { partition, type SkipReason, vectors, vectorsPresent } from '../vectors.ts';
import { toolchainPresent } from './toolchain.ts';

const KINDS = { sha256: 32, p256: 33, ed25519: 34, hmac: 35, ctr: 36, hss: 37 };
/** The runner takes a record of a mebibyte at most. */
const MESSAGE_LIMIT = 1 << 19;
const KEK = fromHex('00112233445566778899aabbccddeeff');

/** A call of the port, and the line that must come of it. */
interface Case {
  readonly record: Uint8Array;
  readonly expected: string;
}

interface Test {
  readonly result: 'valid' | 'invalid' | 'acceptable';
  readonly key: string;
  readonly msg: string;
  readonly tag: string;
  readonly sig: string;
  readonly ct: string;
}

const verdict = (result: string) => (result === 'valid' ? 'good' : 'bad');
const hash = (message: string) => record(KINDS.sha256, counted(fromHex(message)));
const p256 = (point: string, message: string, signature: string) =>
  record(KINDS.p256, fromHex(point), sha256(fromHex(message)), fromHex(signature));
const ed25519 = (key: string, message: string, signature: string) =>
  record(KINDS.ed25519, fromHex(key), fromHex(signature), counted(fromHex(message)));
const hss = (key: Uint8Array, message: Uint8Array, signature: Uint8Array) =>
  record(KINDS.hss, counted(key), counted(signature), counted(message));
const hmac = (key: string, message: string) =>
  record(KINDS.hmac, counted(fromHex(key)), counted(fromHex(message)));
const ctr = (kek: Uint8Array, wrapped: Uint8Array, iv: Uint8Array, offset: number, text: Uint8Array) =>
  record(KINDS.ctr, counted(kek), wrapped, iv, u32(offset), counted(text));

/** What a wrapped key decrypts 32 zero bytes to, by node:crypto: shows that the right key came out. */
function streamOf(key: Uint8Array, iv: Uint8Array): string {
  const cipher = startAesCtr(key, iv);
  return Buffer.from(cipher.update(new Uint8Array(32))).toString('hex');
}

// biome-ignore lint/suspicious/noExplicitAny: each vector file has a shape of its own
type Group = any;

function judged<C>(cases: readonly C[], reasons: readonly SkipReason<C>[] = []): readonly C[] {
  const sorted = partition(cases, reasons).judged;
  expect(sorted.length).toBeGreaterThan(0);
  return sorted;
}

const ofGroups = (name: string): readonly (Test & { readonly group: Group })[] =>
  vectors(name).testGroups.flatMap((group: Group) => group.tests.map((test: Test) => ({ ...test, group })));

const signatureLength: SkipReason<Test> = [
  'the port takes signatures of 64 bytes; another length is refused before it',
  ({ sig }) => sig.length !== 128,
];

const SUITES: Readonly<Record<string, () => readonly Case[]>> = {
  'SHA-256: FIPS 180-2 Appendix B, NIST CAVP': () =>
    judged(vectors('sha256').cases as readonly { msgHex?: string; digestHex: string }[], [
      ['given as a repetition', ({ msgHex }) => msgHex === undefined],
      ['longer than a record', ({ msgHex }) => msgHex!.length > 2 * MESSAGE_LIMIT],
    ]).map(({ msgHex, digestHex }) => ({ record: hash(msgHex!), expected: digestHex })),
  'ECDSA P-256, r and s side by side: Wycheproof': () =>
    judged(ofGroups('wycheproof-ecdsa-p256-sha256-p1363'), [signatureLength]).map(
      ({ group, msg, sig, result }) => ({
        record: p256(group.publicKey.uncompressed.slice(2), msg, sig),
        expected: verdict(result),
      }),
    ),
  'Ed25519: Wycheproof': () =>
    judged(ofGroups('wycheproof-ed25519'), [signatureLength]).map(({ group, msg, sig, result }) => ({
      record: ed25519(group.publicKey.pk, msg, sig),
      expected: verdict(result),
    })),
  'Ed25519: RFC 8032 7.1': () =>
    vectors('rfc8032-ed25519').cases.map(
      (each: { publicKeyHex: string; msgHex: string; signatureHex: string }) => ({
        record: ed25519(each.publicKeyHex, each.msgHex, each.signatureHex),
        expected: 'good',
      }),
    ),
  'HSS/LMS: RFC 8554 F, RFC 9858 A, test data of two libraries': () =>
    hssCases().map(({ publicKeyHex, msgHex, signatureHex, expected }) => ({
      record: hss(fromHex(publicKeyHex), fromHex(msgHex), fromHex(signatureHex)),
      expected: verdict(expected),
    })),
  'HSS/LMS: COSE working group, hashsig, under the top key of RFC 8554 F Test Case 2': () =>
    judged(vectors('cose-examples').cases as readonly CoseCase[], [
      ['another algorithm', ({ keys }) => !keys[0]?.publicHex?.startsWith('0000000100000006')],
    ]).map(({ keys, intermediates, cborHex, expected }) => ({
      record: hss(
        fromHex(keys[0]!.publicHex!),
        fromHex(intermediates.toBeSignedHex[0]!),
        fromHex(cborHex).subarray(-H10_W4_LENGTH),
      ),
      expected: verdict(expected),
    })),
  'HSS/LMS: the same with a part changed, cut or lengthened': () =>
    hssCases()
      .filter(({ expected }) => expected === 'valid')
      .flatMap(({ publicKeyHex, msgHex, signatureHex }) =>
        alteredHss(fromHex(publicKeyHex), fromHex(msgHex), fromHex(signatureHex)),
      ),
  'HMAC-SHA-256: RFC 4231': () =>
    judged(
      vectors('rfc4231-hmac-sha256').cases as readonly { keyHex: string; msgHex: string; macHex: string }[],
      [],
    ).map(({ keyHex, msgHex, macHex }) => ({
      record: hmac(keyHex, msgHex),
      expected: keyHex.length < 64 ? 'no-key' : macHex,
    })),
  'HMAC-SHA-256: Wycheproof': () =>
    judged(ofGroups('wycheproof-hmac-sha256'), [
      ['invalid ones have another tag: comparing is not the port’s', ({ result }) => result !== 'valid'],
      ['a truncated tag', ({ tag }) => tag.length !== 64],
    ]).map(({ key, msg, tag }) => ({
      record: hmac(key, msg),
      expected: key.length < 64 ? 'no-key' : tag,
    })),
  'AES key unwrap: RFC 3394 4.1': () =>
    judged(
      vectors('rfc3394-aes-kw').cases as readonly {
        kekHex: string;
        keyDataHex: string;
        wrappedHex: string;
      }[],
      [
        ['the profile wraps under 16 bytes', ({ kekHex }) => kekHex.length !== 32],
        ['the profile wraps 16 bytes', ({ keyDataHex }) => keyDataHex.length !== 32],
      ],
    ).map(({ kekHex, keyDataHex, wrappedHex }) => unwrapping(kekHex, wrappedHex, keyDataHex)),
  'AES key unwrap: Wycheproof': () =>
    judged(ofGroups('wycheproof-aes-kw'), [
      ['the profile wraps under 16 bytes', ({ key }) => key.length !== 32],
      ['the port takes 24 bytes', ({ ct }) => ct.length !== 48],
    ]).map(({ key, ct, msg, result }) => unwrapping(key, ct, result === 'valid' ? msg : undefined)),
  'AES-128-CTR: NIST SP 800-38A F.5, RFC 3686 6, from every offset of a block': () =>
    judged(
      vectors('aes-ctr').cases as readonly {
        keyHex: string;
        counterBlockHex: string;
        plaintextHex: string;
        ciphertextHex: string;
      }[],
      [['the profile decrypts with 16 bytes', ({ keyHex }) => keyHex.length !== 32]],
    ).flatMap(({ keyHex, counterBlockHex, plaintextHex, ciphertextHex }) => {
      const wrapped = wrapKeyData(KEK, fromHex(keyHex));
      const [iv, text] = [fromHex(counterBlockHex), fromHex(ciphertextHex)];
      return Array.from({ length: Math.min(17, text.length) }, (_, offset) => ({
        record: ctr(KEK, wrapped, iv, offset, text.subarray(offset)),
        expected: plaintextHex.slice(2 * offset) || '-',
      }));
    }),
};

interface HssCase {
  readonly publicKeyHex: string;
  readonly msgHex: string;
  readonly signatureHex: string;
  readonly expected: 'valid' | 'invalid';
}

interface CoseCase {
  readonly expected: string;
  readonly cborHex: string;
  readonly keys: readonly { readonly publicHex?: string }[];
  readonly intermediates: { readonly toBeSignedHex: readonly string[] };
}

/** An HSS signature by one tree of that shape: count of levels, q, one-time signature, type, path. */
const H10_W4_LENGTH = 4 + 4 + (4 + 32 + 67 * 32) + 4 + 10 * 32;

const hssCases = () =>
  judged(vectors('hss-lms').cases as readonly HssCase[], [
    [
      'a tree over SHAKE256 (RFC 9858 sections 3.2 to 3.4)',
      ({ publicKeyHex }) => Number.parseInt(publicKeyHex.slice(8, 16), 16) > 14,
    ],
  ]);

/** Where one level of a signature begins and what it is made of (RFC 8554 section 6.2): bytes that each mean something else. */
const HSS_FIELDS = { levels: 3, leaf: 7, oneTimeType: 11, randomizer: 12 };

/** What no verifier may take: levels, q, type codes, randomizer, chains and paths changed; parts missing or too much. */
function alteredHss(key: Uint8Array, message: Uint8Array, signature: Uint8Array): Case[] {
  const bit = (bytes: Uint8Array, at: number) => bytes.with(at, bytes[at]! ^ 1);
  const fields = Object.values(HSS_FIELDS);
  const scattered = Array.from({ length: 24 }, (_, i) => Math.floor(((i + 1) * signature.length) / 24) - 1);
  const cuts = [0, 3, 4, 7, 12, 60, signature.length >> 1, signature.length - 1];
  const last = signature.length - 1;
  const altered = [
    ...[...fields, ...scattered].map((at) => hss(key, message, bit(signature, at))),
    ...cuts.map((length) => hss(key, message, signature.subarray(0, length))),
    ...[0xff, 0x20].map((leaf) => hss(key, message, signature.with(HSS_FIELDS.leaf - 1, leaf))),
    hss(key, message, concat(signature, signature.subarray(last))),
    hss(key, concat(message, Uint8Array.of(0)), signature),
    hss(key, message.subarray(1), signature),
    ...[0, 3, 4, 7, 11, 12, 28, key.length - 1].map((at) => hss(bit(key, at), message, signature)),
    ...[0, 4, 11, 24, key.length - 1].map((length) => hss(key.subarray(0, length), message, signature)),
    hss(concat(key, Uint8Array.of(0)), message, signature),
  ];
  return altered.map((each) => ({ record: each, expected: 'bad' }));
}

function unwrapping(kek: string, wrapped: string, key: string | undefined): Case {
  const iv = new Uint8Array(16).fill(0x5a);
  return {
    record: ctr(fromHex(kek), fromHex(wrapped), iv, 0, new Uint8Array(32)),
    expected: key === undefined ? 'not-unwrapped' : streamOf(fromHex(key), iv),
  };
}

/**
 * Under the neutral point as a key, whatever it is written like, the neutral point as R and S = 0 fit every message; under the
 * others of small order some. "Taming the Many EdDSAs" (IACR ePrint 2020/1244); test/crypto/small-order.test.ts.
 */
const EVERYBODYS = [
  '01'.padEnd(64, '0'),
  `${'01'.padEnd(62, '0')}80`,
  `${'ee'.padEnd(62, 'f')}7f`,
  'ee'.padEnd(64, 'f'),
  `${'ec'.padEnd(62, 'f')}7f`,
  '00'.repeat(32),
  '26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05',
  'c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a',
];
const underEverybodysKey = (): Case[] =>
  EVERYBODYS.flatMap((key) =>
    EVERYBODYS.slice(0, 1)
      .concat(EVERYBODYS.slice(4))
      .map((r) => ({ record: ed25519(key, '6669726d77617265', r + '00'.repeat(32)), expected: 'bad' })),
  );

const HSS_SHAPES = [24, 32].flatMap((n) => [1, 2, 4, 8].map((w) => `N${n}/H5/W${w}`));

/** Every width and both lengths of hashes in one tree, at its first and last leaf; and several trees, eight at most. */
const ofEachShape = (): Case[] =>
  [...HSS_SHAPES, 'H10/W4', 'H5/W2,H5/W8', 'N24/H5/W4,N24/H5/W1', Array(8).fill('H5/W2').join(',')].flatMap(
    (text) => {
      const shape = parseHssShape(text)!;
      const trees = new HssTrees({ shape, master: new Uint8Array(32).fill(0x42) });
      const key = trees.publicKey();
      const message = new TextEncoder().encode(text);
      return [0n, hssCapacity(shape) - 1n].flatMap((leaf) => {
        const signature = trees.sign(leaf, message);
        const changed = signature.with(signature.length - 1, signature.at(-1)! ^ 1);
        return [
          { record: hss(key, message, signature), expected: 'good' },
          { record: hss(key, message, changed), expected: 'bad' },
        ];
      });
    },
  );

/** The counter of RFC 9459 goes on through all 16 bytes; a library that counts in four would repeat key stream. */
const overflowing = (): Case[] =>
  ['00000000000000000000000000000000ffffffff', 'ffffffffffffffffffffffffffffffff'].map((hex) => {
    const iv = fromHex(hex.slice(-32));
    const key = fromHex('2b7e151628aed2a6abf7158809cf4f3c');
    const zeros = new Uint8Array(80);
    return {
      record: ctr(KEK, wrapKeyData(KEK, key), iv, 0, zeros),
      expected: Buffer.from(startAesCtr(key, iv).update(zeros)).toString('hex'),
    };
  });

describe.skipIf(!toolchainPresent).each(['host', 'cortex-m'] as const)(
  'crypto port, %s',
  (target: Target) => {
    const linesOf = (cases: readonly Case[]) =>
      runCases(
        target,
        'crypto-runner',
        cases.map((each) => each.record),
      );

    it.skipIf(!vectorsPresent).each(Object.keys(SUITES))('../shared/vectors: %s', (name) => {
      const cases = SUITES[name]!();
      expect(linesOf(cases)).toEqual(cases.map(({ expected }) => expected));
    });

    it('counts in all 16 bytes of the counter block (RFC 9459 section 4)', () => {
      const cases = overflowing();
      expect(linesOf(cases)).toEqual(cases.map(({ expected }) => expected));
    });

    it('no signature counts under an Ed25519 key of small order (docs/porting.md)', () => {
      const cases = underEverybodysKey();
      expect(linesOf(cases)).toEqual(cases.map(({ expected }) => expected));
    });

    it('HSS/LMS: what src/crypto signs with every width, length and number of trees (RFC 8554 4.1, 6; RFC 9858)', () => {
      const cases = ofEachShape();
      expect(linesOf(cases)).toEqual(cases.map(({ expected }) => expected));
    });

    it('ends with a status of its own where a case is not in its form', () => {
      expect(() => runCases(target, 'crypto-runner', [concat(u32(1), Uint8Array.of(250))])).toThrow();
    });
  },
);

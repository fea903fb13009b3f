/** Tokens and challenges as bytes: RFC 9711 sections 3, 4 and Appendix A, RFC 8392 section 7.1, docs/attestation.md. */
import { generateKeyPairSync, sign as nodeSign } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { Mac0, MacAlgorithms, Sign1 } from '@auth0/cose';
import { decode as cborg } from 'cborg';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import {
  ATTESTATION_REFUSALS,
  AttestationError,
  CHALLENGE_REFUSALS,
  type Challenge,
  CLAIM,
  type EatClaims,
  identityOf,
  measure,
  openToken,
  readChallenge,
  readClaims,
  sealToken,
  TOKEN_PROFILE,
  TOKEN_TYPE,
  TYPE_LABEL,
  writeChallenge,
  writeClaims,
  writeMeasurement,
} from '../../src/attestation/index.ts';
import { equal, fromHex, sourceOf, toHex } from '../../src/bytes/index.ts';
import { CborMap, decode, encode } from '../../src/cbor/index.ts';
import { heldMacKey, type Signer, signatureAlgorithm } from '../../src/cose/index.ts';
import { unitMacKey } from '../../src/report/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';
import { attesterOver, challenge, claimsFor, DEVICE, flashOf, NONCE, RECORD, signer } from './bench.ts';

const genuine = claimsFor(challenge(), attesterOver(flashOf()));
const codeOf = (body: () => unknown) => {
  try {
    body();
  } catch (error) {
    if (error instanceof AttestationError) return error.code;
    throw error;
  }
  return 'read';
};

/** RFC 9711 Appendix A.1.3 and A.2.1, retyped: the claims of a hardware block, and a CWT over them. */
const HW_BLOCK =
  'a60a4cd79b964ddd5471c1393c8888190100500198f50a4ff6c05861c8860d13a638ea19010219faf2190106f5190107031901048263332e3101';
const BASIC_CWT = `d83dd28443a10126a0583a${HW_BLOCK}58409b9b2f5e470000f6a20c8a4157b5763fc45be7599a5334028517768c21affb845a56ab557e0c8973a07417391243a79c478562d285612e292c622162ab233787`;

describe('RFC 9711 Appendix A', () => {
  it('A.1.3: the claims of a hardware block are read; what is not used here is left alone', () => {
    expect(readClaims(fromHex(HW_BLOCK))).toMatchObject({
      nonces: [fromHex('d79b964ddd5471c1393c8888')],
      ueid: fromHex('0198f50a4ff6c05861c8860d13a638ea'),
      oemid: 64242,
      dbgstat: 'disabled-permanently',
      others: [262, 260],
    });
  });

  it('A.2.1: a CWT without a type of its own is not taken for one of ours', () => {
    expect(codeOf(() => openToken(fromHex(BASIC_CWT)))).toBe('type');
  });

  it.skipIf(!vectorsPresent)('../shared/vectors: every claims set that the RFC publishes is read', () => {
    const cases: { id: string; claimsHex?: string; payloadHex?: string }[] = vectors('eat-rfc9711').cases;
    const sets = cases.flatMap(({ id, claimsHex, payloadHex }) => {
      const hex = claimsHex ?? payloadHex;
      return hex ? [{ id, hex }] : [];
    });
    expect(sets.length).toBeGreaterThan(2);
    for (const { id, hex } of sets) {
      const claims = readClaims(fromHex(hex));
      expect(claims.nonces.length, id).toBe(1);
      const item = decode(fromHex(hex), { sortedKeys: false });
      if (item.type !== 'map') return expect.unreachable();
      const known = new Set<unknown>(Object.values(CLAIM));
      const foreign = item.entries.filter(({ key }) => !known.has((key as { value: unknown }).value));
      expect(claims.others.length, id).toBe(foreign.length);
    }
  });
});

describe('the container', () => {
  it('RFC 8392 6, 7.1: a CWT tag around a tagged COSE_Sign1; alg, type and kid are protected', async () => {
    const token = await sealToken(genuine, DEVICE, signer);
    expect(toHex(token.subarray(0, 3))).toBe('d83dd2');
    const { message, payload, deviceId } = openToken(token);
    expect(deviceId).toEqual(DEVICE);
    expect(payload).toEqual(writeClaims(genuine));
    expect(message.headers.entries.every(({ isProtected }) => isProtected)).toBe(true);
    expect(message.headers.protectedBytes).toEqual(
      encode(
        new CborMap([
          [1, -9],
          [TYPE_LABEL, TOKEN_TYPE],
          [4, DEVICE],
        ]),
      ),
    );
  });

  it('an independent COSE library verifies what is signed, but for the number of the algorithm', async () => {
    const pair = generateKeyPairSync('ec', { namedCurve: 'P-256' });
    const es256: Signer = {
      algorithm: { ...signatureAlgorithm(-7)!, status: 'current' },
      publicKey: new Uint8Array(pair.publicKey.export({ format: 'der', type: 'spki' })),
      sign: async (message) =>
        new Uint8Array(nodeSign('sha256', message, { key: pair.privateKey, dsaEncoding: 'ieee-p1363' })),
    };
    const token = await sealToken(genuine, DEVICE, es256);
    const theirs = Sign1.decode(token.slice(2));
    await expect(theirs.verify(pair.publicKey)).resolves.not.toThrow();
    expect(equal(theirs.payload, writeClaims(genuine))).toBe(true);
    token[token.length - 1]! ^= 1;
    await expect(Sign1.decode(token.slice(2)).verify(pair.publicKey)).rejects.toThrow();
  });

  it('and so it does what is MACed', async () => {
    const key = new Uint8Array(32).fill(0x5a);
    const token = await sealToken(genuine, DEVICE, heldMacKey(fromHex('01'), key));
    expect(toHex(token.subarray(0, 3))).toBe('d83dd1');
    const theirs = Mac0.decode(token.slice(2));
    await expect(
      theirs.verify(key, { supportedAlgorithms: [MacAlgorithms.HS256] } as never),
    ).resolves.not.toThrow();
    expect(equal(theirs.payload, writeClaims(genuine))).toBe(true);
  });

  it('an independent CBOR library reads the claims set and the measurement in it', () => {
    const theirs = cborg(writeClaims(genuine), { useMaps: true }) as Map<number, unknown>;
    const absent: readonly number[] = [CLAIM.measres, CLAIM.boots];
    const expected = Object.values(CLAIM).filter((key) => !absent.includes(key));
    expect(new Set(theirs.keys())).toEqual(new Set(expected));
    expect(theirs.get(CLAIM.dbgstat)).toBe(2);
    const [[format, body]] = theirs.get(CLAIM.measurements) as [[number, Uint8Array]];
    expect(format).toBe(60);
    expect((cborg(body, { useMaps: true }) as Map<number, unknown>).get(1)).toBe('B');
  });

  it('the smallest and the largest nonce of RFC 9711 4.1 are carried, and no other', async () => {
    for (const [length, end] of [
      [7, 'structure'],
      [8, 'read'],
      [64, 'read'],
      [65, 'structure'],
    ] as const) {
      const claims = { ...genuine, nonces: [new Uint8Array(length)] };
      expect(codeOf(() => readClaims(writeClaims(claims)))).toBe(end);
      const asked = { ...challenge(), nonce: new Uint8Array(length) };
      expect(codeOf(() => readChallenge(writeChallenge(asked)))).toBe(end);
    }
  });
});

const bytes = (least: number, most = least) =>
  fc.uint8Array({ minLength: least, maxLength: most }).map((each) => new Uint8Array(each));
const short = fc.string({ maxLength: 40, unit: 'grapheme-ascii' });
const maybe = <T>(arbitrary: fc.Arbitrary<T>) => fc.option(arbitrary, { nil: undefined });

const claimsSets: fc.Arbitrary<EatClaims> = fc.record({
  nonces: fc.array(bytes(8, 64), { minLength: 1, maxLength: 3 }),
  ueid: maybe(bytes(7, 33)),
  oemid: maybe(fc.oneof(bytes(3), bytes(16), fc.nat())),
  hwmodel: maybe(bytes(1, 32)),
  dbgstat: maybe(fc.constantFrom('enabled', 'disabled', 'disabled-since-boot', 'disabled-permanently')),
  profile: maybe(fc.oneof(fc.constant(TOKEN_PROFILE), short, bytes(1, 30))),
  bootcount: maybe(fc.nat()),
  bootseed: maybe(bytes(16, 64)),
  swname: maybe(short),
  swversion: maybe(short),
  measurements: fc.array(fc.record({ format: fc.nat(65_535), body: bytes(0, 80) }), { maxLength: 3 }),
  results: fc.array(
    fc.record({
      system: short,
      results: fc.array(
        fc.record({ id: short, result: fc.constantFrom('success', 'fail', 'not-run', 'absent') }),
        { minLength: 1, maxLength: 3 },
      ),
    }),
    { maxLength: 2 },
  ),
  software: maybe(fc.record({ manifestDigest: bytes(32), sequenceNumber: fc.bigInt(0n, 2n ** 64n - 1n) })),
  boots: fc.array(
    fc.record({
      count: fc.nat(),
      kind: fc.constantFrom('start', 'self-check'),
      runs: maybe(short),
      sequenceNumber: fc.bigInt(0n, 2n ** 64n - 1n),
      failures: fc.array(short, { maxLength: 2 }),
    }),
    { maxLength: 4 },
  ),
  others: fc.constant([]),
}) as fc.Arbitrary<EatClaims>;

const challenges: fc.Arbitrary<Challenge> = fc.record({
  nonce: bytes(8, 64),
  deviceId: bytes(16),
  region: fc.oneof(
    fc.record({ name: fc.string({ maxLength: 64, unit: 'grapheme-ascii' }) }),
    fc.record({ address: fc.maxSafeNat(), length: fc.maxSafeNat() }),
  ),
});

describe('properties', () => {
  it('what is written is read again', () => {
    fc.assert(
      fc.property(claimsSets, (claims) => {
        expect(readClaims(writeClaims(claims))).toEqual(claims);
      }),
    );
    fc.assert(
      fc.property(challenges, (asked) => {
        expect(readChallenge(writeChallenge(asked))).toEqual(asked);
      }),
    );
  });

  it('any bytes are read or refused with a code', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 200 }), (input) => {
        for (const read of [readClaims, readChallenge, openToken])
          expect(codeOf(() => read(input))).toBeTypeOf('string');
      }),
    );
  });

  it('a challenge has one form: every other encoding of it is refused', () => {
    const good = writeChallenge(challenge());
    fc.assert(
      fc.property(fc.nat(good.length - 1), fc.integer({ min: 1, max: 255 }), (at, change) => {
        const changed = good.slice();
        changed[at]! ^= change;
        if (codeOf(() => readChallenge(changed)) === 'read') {
          expect(writeChallenge(readChallenge(changed))).toEqual(changed);
        }
      }),
    );
  });
});

describe('docs/attestation.md and docs/deployment-profile.md', () => {
  it('the example challenge: bytes as printed', () => {
    const asked = { nonce: NONCE, deviceId: DEVICE, region: { name: 'running' } };
    expect(toHex(writeChallenge(asked))).toBe(
      'a4010102508f1c0b6ae24d97531e60a4c2b8d7f91303500b0f5e0a3a0e5b8e9d5f3a2d4d8a1c11046772756e6e696e67',
    );
  });

  it('the example measurement: one erased page', () => {
    const digest = measure(NONCE, sourceOf(new Uint8Array(4096).fill(0xff)));
    const manifestDigest = fromHex('11'.repeat(32));
    const body = writeMeasurement({ area: 'A', address: 0x0800_1000, length: 4096, digest, manifestDigest });
    expect(toHex(body)).toBe(
      `a5016141021a0800100003191000045820${'23a4ebd07efe5e6ba62035a5b0934564488429af84fc51f28c13641dd6709c42'}055820${'11'.repeat(32)}`,
    );
  });

  it('the example MAC key, and the pages print these bytes, and every code', () => {
    const key = Uint8Array.from({ length: 32 }, (_, i) => i);
    const classId = fromHex('c08f14d6a43a533a9da439d2a9c63952');
    const hex = toHex(unitMacKey('unit-attestation-key', key, classId, DEVICE));
    expect(hex).toBe('600055db4a48d58cfc6dff593021402b80ac44c49e4b6051831e1840a82d91af');
    const [page, profile] = ['docs/attestation.md', 'docs/deployment-profile.md'].map((path) =>
      readFileSync(path, 'utf8'),
    );
    expect(profile).toContain(hex);
    expect(page).toContain(toHex(writeChallenge(challenge())));
    for (const text of [page, profile]) expect(text).toContain(TOKEN_PROFILE);
    for (const code of [...Object.keys(ATTESTATION_REFUSALS), ...Object.keys(CHALLENGE_REFUSALS)])
      expect(page).toContain(`\`${code}\``);
    const typ = encode(new CborMap([[TYPE_LABEL, TOKEN_TYPE]]));
    expect(profile).toContain(toHex(typ.subarray(1)));
  });

  it('the UEID of the example unit', () => {
    const { ueid } = identityOf({
      vendorId: RECORD.vendor_id,
      classIds: RECORD.class_ids,
      deviceId: RECORD.device_id,
    });
    expect(toHex(ueid)).toBe('014dc19bca89ceb78c6ba3322706eca698');
  });
});

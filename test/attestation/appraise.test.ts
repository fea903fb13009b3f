/** What an answer is worth: RFC 9711 claim by claim, RFC 9334 section 10.2 for freshness. */
import { describe, expect, it } from 'vitest';
import {
  ATTESTATION_REFUSALS,
  type AttestationAppraisal,
  type AttestationBooks,
  type AttestationCode,
  appraiseToken,
  type EatClaims,
  MEASUREMENT_FORMAT,
  measure,
  readMeasurement,
  TOKEN_TYPE,
  TYPE_LABEL,
  writeMeasurement,
} from '../../src/attestation/index.ts';
import { concat, fromHex, sourceOf } from '../../src/bytes/index.ts';
import { CborEncoded, CborMap, CborTag, encode } from '../../src/cbor/index.ts';
import { heldMacKey, LABEL, sealSign1, signatureAlgorithm } from '../../src/cose/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import { unitMacKey } from '../../src/report/index.ts';
import { parseUuid } from '../../src/suit/index.ts';
import { freshSigner } from '../cose/keys.ts';
import {
  attesterOver,
  books,
  challenge,
  claimsFor,
  DEVICE,
  flashOf,
  NEW,
  NONCE,
  PAGE,
  RECORD,
  round,
  signer,
  tokenOf,
} from './bench.ts';

const genuine = claimsFor(challenge(), attesterOver(flashOf()));
const failed = ({ claims }: AttestationAppraisal) => claims.find(({ result }) => result === 'fails')?.claim;
const result = ({ claims }: AttestationAppraisal, name: string) =>
  claims.find(({ claim }) => claim === name)?.result;

describe('a genuine unit', () => {
  it('every claim holds, and the challenge is answered', async () => {
    const appraisal = await round(flashOf());
    expect(appraisal).toMatchObject({
      verdict: 'genuine',
      refusal: null,
      sender: { className: 'vent', serial: '0001', provedBy: 'unit key' },
      release: { version: '1.5.0' },
      answers: NONCE,
    });
    const open = appraisal.claims.filter(({ result: each }) => each !== 'holds').map(({ claim }) => claim);
    expect(open).toEqual(['self-check']);
  });

  it.each([
    ['by the name of a slot that does not run', { name: 'A' }],
    ['by the name of the recovery image', { name: 'recovery' }],
    ['by address and length: one page with code', { address: 0x4000 + PAGE, length: PAGE }],
    [
      'by address and length: the end of the image and the erased rest',
      { address: 0x4000 + 4 * PAGE, length: 4 * PAGE },
    ],
  ])('the region is asked for %s', async (_, region) => {
    expect(await round(flashOf(), challenge({ region }))).toMatchObject({ verdict: 'genuine' });
  });

  it('RFC 5869: a MAC under a key of its own label; what it proves is said', async () => {
    const [CLASS_KEY, classId] = [new Uint8Array(32).fill(0x5a), parseUuid(RECORD.class_ids[0]!)];
    const key = unitMacKey('unit-attestation-key', CLASS_KEY, classId, DEVICE);
    const other = unitMacKey('unit-report-key', CLASS_KEY, classId, DEVICE);
    const known = books(challenge(), {}, { macKey: key, attestationKey: undefined });
    const maced = await tokenOf(genuine, heldMacKey(fromHex('01'), key));
    expect(appraiseToken(maced, known)).toMatchObject({
      verdict: 'genuine',
      sender: { provedBy: 'class key' },
    });
    const misused = await tokenOf(genuine, heldMacKey(fromHex('01'), other));
    expect(appraiseToken(misused, known)).toMatchObject({ refusal: 'mac-wrong' });
  });

  it('without the sealed image nothing is concluded, and the challenge stays open', async () => {
    const known = books(challenge(), { image: () => undefined });
    const appraisal = await round(flashOf(), challenge(), {}, known);
    expect(appraisal).toMatchObject({ verdict: 'incomplete', refusal: null });
  });

  it('a file that is not the sealed image is no reference', async () => {
    const known = books(challenge(), { image: () => sourceOf(NEW.slice(1)) });
    expect(await round(flashOf(), challenge(), {}, known)).toMatchObject({ verdict: 'incomplete' });
  });
});

describe('a unit that answers from what it has stored', () => {
  const forged = (digest: Uint8Array): EatClaims => ({
    ...genuine,
    measurements: [
      {
        format: MEASUREMENT_FORMAT,
        body: writeMeasurement({ ...readMeasurement(genuine.measurements[0]!.body), digest }),
      },
    ],
  });

  it.each([
    ['the digest of the image', sha256(NEW)],
    ['the nonce over that digest', sha256(NONCE, sha256(NEW))],
    ['that digest over the nonce', sha256(sha256(NEW), NONCE)],
    ['the right hash for another nonce', measure(new Uint8Array(16), sourceOf(NEW))],
  ])('fails: %s', async (_, digest) => {
    const appraisal = appraiseToken(await tokenOf(forged(digest)), books());
    expect(appraisal).toMatchObject({ verdict: 'refused', refusal: 'measurement-differs' });
  });

  it('and a unit that kept the whole image elsewhere passes: the stated limit', async () => {
    const patched = flashOf();
    const clean = flashOf();
    patched[6000]! ^= 1;
    expect(await round(clean)).toMatchObject({ verdict: 'genuine' });
  });
});

/** How each refusal is reached: claims that differ, another way of sealing, or other books. */
type Case = () => Promise<{ token: Uint8Array; known?: AttestationBooks }>;
const saying = (changes: Partial<EatClaims>, known?: AttestationBooks) => async () => ({
  token: await tokenOf({ ...genuine, ...changes }),
  ...(known && { known }),
});
const knowing = (known: AttestationBooks) => async () => ({ token: await tokenOf(genuine), known });
const measuring = (changes: object, known?: AttestationBooks) =>
  saying(
    {
      measurements: [
        {
          format: MEASUREMENT_FORMAT,
          body: writeMeasurement({ ...readMeasurement(genuine.measurements[0]!.body), ...changes }),
        },
      ],
    },
    known,
  );
const patchedFlash = flashOf();
patchedFlash[8 * PAGE + 100]! ^= 0x10;

async function sealed(type: string, payload: Uint8Array, by = signer): Promise<Uint8Array> {
  const message = await sealSign1(by, {
    payload,
    attached: true,
    protectedHeaders: [
      [TYPE_LABEL, type],
      [LABEL.kid, DEVICE],
    ],
  });
  return encode(new CborTag(61, new CborEncoded(message)));
}

const CASES: Record<AttestationCode, readonly (readonly [string, Case])[]> = {
  'token-malformed': [
    ['no CBOR', async () => ({ token: fromHex('ff') })],
    ['cut short', async () => ({ token: (await tokenOf(genuine)).slice(0, -1) })],
    ['without the tag of a CWT', async () => ({ token: (await tokenOf(genuine)).slice(2) })],
    ['too large', async () => ({ token: new Uint8Array(20_000) })],
  ],
  'not-a-token': [
    [
      'a report that the unit signed',
      async () => ({ token: await sealed('application/suit-report+cose', fromHex('a0')) }),
    ],
  ],
  'unit-unknown': [
    [
      'another device identifier',
      async () => ({ token: await tokenOf(genuine, signer, new Uint8Array(16)) }),
    ],
    ['none at all', async () => ({ token: await tokenOf(genuine, signer, new Uint8Array(3)) })],
  ],
  'key-unknown': [['no key on record', knowing(books(challenge(), {}, { attestationKey: undefined }))]],
  'algorithm-not-allowed': [
    [
      'a legacy number (RFC 9864)',
      async () => {
        const algorithm = { ...signatureAlgorithm(-7)!, status: 'current' as const };
        return { token: await tokenOf(genuine, { ...signer, algorithm }) };
      },
    ],
    [
      'an algorithm of another key type',
      async () => ({ token: await tokenOf(genuine, freshSigner('Ed25519')) }),
    ],
  ],
  'signature-wrong': [
    [
      'a key that is not the key of the unit',
      async () => ({ token: await tokenOf(genuine, freshSigner('ESP256')) }),
    ],
    [
      'a claim changed afterwards',
      async () => {
        const token = await tokenOf(genuine);
        token[token.length - 100]! ^= 1;
        return { token };
      },
    ],
  ],
  'mac-wrong': [
    [
      'the key of somebody else',
      async () => ({
        token: await tokenOf(genuine, heldMacKey(fromHex('01'), new Uint8Array(32).fill(1))),
        known: books(challenge(), {}, { macKey: new Uint8Array(32).fill(2) }),
      }),
    ],
  ],
  'claims-malformed': [
    ['no map', async () => ({ token: await sealed(TOKEN_TYPE, fromHex('80')) })],
    ['two nonces', saying({ nonces: [NONCE, NONCE.slice(1)] })],
    ['a measurement of another format', saying({ measurements: [{ format: 258, body: fromHex('a0') }] })],
    [
      'a measurement without its parts',
      saying({ measurements: [{ format: MEASUREMENT_FORMAT, body: fromHex('a0') }] }),
    ],
  ],
  'claims-missing': [
    ['no nonce', saying({ nonces: [] })],
    ['no identity', saying({ ueid: undefined })],
    ['no boot seed', saying({ bootseed: undefined })],
    ['no measurement', saying({ measurements: [] })],
  ],
  'profile-wrong': [
    ['another profile', saying({ profile: 'urn:uuid:00000000-0000-4000-8000-000000000000' })],
    ['none', saying({ profile: undefined })],
    ['an object identifier', saying({ profile: fromHex('2b06') })],
  ],
  'nonce-unknown': [['a challenge that nobody here made', saying({ nonces: [new Uint8Array(32)] })]],
  'nonce-used': [['answered before', knowing(books(challenge(), {}, {}, { used: true }))]],
  'nonce-expired': [['too late', knowing(books(challenge(), {}, {}, { expires: new Date('2030-12-31') }))]],
  'nonce-of-another-unit': [
    ['made for another unit', knowing(books(challenge({ deviceId: new Uint8Array(16).fill(9) })))],
  ],
  'identity-differs': [
    ['another unit', saying({ ueid: concat(fromHex('01'), new Uint8Array(16)) })],
    ['another maker', saying({ oemid: 64242 })],
    ['another class', saying({ hwmodel: new Uint8Array(16) })],
  ],
  'debug-open': [['a debug port is open', saying({ dbgstat: 'enabled' })]],
  'debug-doubtful': [['closed now', saying({ dbgstat: 'disabled' })]],
  'debug-unstated': [['not reported', saying({ dbgstat: undefined })]],
  'boot-count-behind': [['fewer starts than before', knowing(books(challenge(), {}, { lastBootCount: 13 }))]],
  'region-differs': [
    [
      'another slot than the one named',
      measuring({ area: 'A', address: 0x1000 }, books(challenge({ region: { name: 'B' } }))),
    ],
    ['an area that there is not', measuring({ area: 'C' })],
    ['half of it', measuring({ length: 4 * PAGE })],
    ['the region of another challenge', knowing(books(challenge({ region: { name: 'A' } })))],
  ],
  'recovery-runs': [['no manifest at work', saying({ software: undefined, swversion: undefined })]],
  'release-unknown': [
    [
      'a manifest that nobody sealed here',
      saying({ software: { manifestDigest: new Uint8Array(32), sequenceNumber: 5n } }),
    ],
  ],
  'release-of-another-class': [
    [
      'a release of another class',
      knowing(
        books(challenge(), {
          release: () => ({
            className: 'dosing',
            sequenceNumber: 5n,
            version: '1.5.0',
            imageDigest: () => sha256(NEW),
          }),
        }),
      ),
    ],
  ],
  'version-differs': [
    ['another version', saying({ swversion: '9.9.9' })],
    ['another number', saying({ software: { ...genuine.software!, sequenceNumber: 6n } })],
  ],
  'software-stale': [
    ['an older release than asked for', knowing(books(challenge(), { leastNumber: () => 6n }))],
  ],
  'measurement-differs': [
    [
      'patched code',
      async () => ({ token: await tokenOf(claimsFor(challenge(), attesterOver(patchedFlash))) }),
    ],
  ],
  'self-check-failed': [
    [
      'the unit says so itself',
      saying({ results: [{ system: 's', results: [{ id: 'code', result: 'fail' }] }] }),
    ],
  ],
};

describe('every refusal is reached, each at its claim', () => {
  const rows = Object.entries(CASES).flatMap(([code, cases]) =>
    cases.map(([name, make]) => ({ code: code as AttestationCode, name, make })),
  );
  it.each(rows)('$code: $name', async ({ code, make }) => {
    const { token, known = books() } = await make();
    const appraisal = appraiseToken(token, known);
    expect(appraisal).toMatchObject({ verdict: 'refused', refusal: code });
    expect(failed(appraisal)).toBe(ATTESTATION_REFUSALS[code].claim);
  });

  it('one byte changed anywhere in the slot, its erased rest included, is noticed', async () => {
    for (const offset of [0, 1, 2499, 2500, 8 * PAGE - 1]) {
      const bytes = flashOf();
      bytes[8 * PAGE + offset]! ^= 1;
      expect((await round(bytes)).refusal).toBe('measurement-differs');
    }
  });

  it('nothing inside is read before it is authentic, and nothing is answered by a forgery', async () => {
    const forged = appraiseToken(await tokenOf(genuine, freshSigner('ESP256')), books());
    expect(forged).toMatchObject({ told: undefined, answers: undefined, sender: undefined });
    expect(result(forged, 'content')).toBe('not judged');
  });

  it('several failures are all told; the first is the refusal', async () => {
    const token = await tokenOf({
      ...claimsFor(challenge(), attesterOver(patchedFlash)),
      dbgstat: 'enabled',
    });
    const appraisal = appraiseToken(token, books());
    expect(appraisal.refusal).toBe('debug-open');
    expect(result(appraisal, 'measurement')).toBe('fails');
  });

  it('keys of an encoded claims set that is no map of integers are refused', async () => {
    const token = await sealed(TOKEN_TYPE, encode(new CborMap([['eat_nonce', NONCE]])));
    expect(appraiseToken(token, books()).refusal).toBe('claims-malformed');
  });
});

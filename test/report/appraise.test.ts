import { createHmac } from 'node:crypto';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { concat, fromHex, toHex } from '../../src/bytes/index.ts';
import { CborMap, CborTag, encode } from '../../src/cbor/index.ts';
import {
  type AeadAlgorithm,
  contentAlgorithm,
  decodeEncrypted,
  decryptWhole,
  encryptMessage,
  heldMacKey,
  LABEL,
  openEncrypt0,
  type Signer,
  sealSign1,
} from '../../src/cose/index.ts';
import {
  AGE_LABEL,
  APPRAISAL_REFUSALS,
  type AppraisalBooks,
  type AppraisalCode,
  appraiseReport,
  type KnownRelease,
  type KnownUnit,
  openSealedReport,
  REPORT_CONTENT_TYPE,
  type SuitReport,
  sealReport,
  senderHeaders,
  unitMacKey,
  writeReport,
} from '../../src/report/index.ts';
import { describeRelease, readManifest, writeManifest } from '../../src/suit/index.ts';
import { freshSigner } from '../cose/keys.ts';
import { CLAIM, CLASS, DEVICE, DIGEST, FAILED, IMAGE, parameters, RELEASE, SUCCESS } from './samples.ts';

const signer = freshSigner('ESP256');
const stranger = freshSigner('ESP256');
const CLASS_KEY = fromHex('5a'.repeat(32));
const macKey = unitMacKey('unit-report-key', CLASS_KEY, CLASS, DEVICE);
const SENDER = { deviceId: DEVICE, age: 40 };

const UNIT: KnownUnit = {
  className: 'vent',
  serial: '0001',
  reportKey: signer.publicKey,
  macKey,
  lastHeard: undefined,
};

/** Books with one unit and one release, and what a case changes. */
function books(
  unit: Partial<KnownUnit> = {},
  release: Partial<KnownRelease> = {},
  more: Partial<AppraisalBooks> = {},
): AppraisalBooks {
  return {
    unit: (id) => (toHex(id) === toHex(DEVICE) ? { ...UNIT, ...unit } : undefined),
    release: (digest) => (toHex(digest) === toHex(DIGEST) ? { ...RELEASE, ...release } : undefined),
    ...more,
  };
}

const genuine = await sealReport(SUCCESS, SENDER, signer);
const sealed = (report: SuitReport, age = 40, by: Signer = signer) =>
  sealReport(report, { ...SENDER, age }, by);
const signed = (payload: Uint8Array) =>
  sealSign1(signer, {
    payload,
    attached: true,
    protectedHeaders: [[LABEL.contentType, REPORT_CONTENT_TYPE], ...senderHeaders(SENDER)],
  });

describe('the container', () => {
  it('[RPT] 8: a tagged COSE_Sign1 with the report as its sole payload; content type, kid and age protected', () => {
    expect(genuine[0]).toBe(0xd2);
    const { message, payload, deviceId, age } = openSealedReport(genuine);
    expect(payload).toEqual(writeReport(SUCCESS));
    expect(deviceId).toEqual(DEVICE);
    expect(age).toBe(40);
    expect(message.headers.entries.every(({ isProtected }) => isProtected)).toBe(true);
    expect(message.headers.protectedBytes).toEqual(
      encode(
        new CborMap([
          [1, -9],
          [3, 'application/suit-report+cose'],
          [4, DEVICE],
          [AGE_LABEL, 40],
        ]),
      ),
    );
  });

  it('RFC 5869 2.2, 2.3: the MAC key of a unit, by HMAC step by step', () => {
    const prk = createHmac('sha256', CLASS).update(CLASS_KEY).digest();
    const info = encode(['unit-report-key', CLASS, DEVICE]);
    const expected = createHmac('sha256', prk)
      .update(concat(info, fromHex('01')))
      .digest('hex');
    expect(toHex(macKey)).toBe(expected);
  });

  it('[RPT] 8: COSE_Mac0 under that key', async () => {
    const maced = await sealReport(SUCCESS, SENDER, heldMacKey(fromHex('01'), macKey));
    expect(maced[0]).toBe(0xd1);
    expect(appraiseReport(maced, books())).toMatchObject({
      verdict: 'genuine',
      sender: { className: 'vent', serial: '0001', provedBy: 'class key' },
    });
  });
});

describe('what is taken', () => {
  it('a success with the image of the release', () => {
    const appraisal = appraiseReport(genuine, books());
    expect(appraisal).toMatchObject({ verdict: 'genuine', refusal: null, report: SUCCESS, release: RELEASE });
    expect(appraisal.claims.map(({ claim, result }) => [claim, result])).toEqual([
      ['form', 'holds'],
      ['sender', 'holds'],
      ['authenticity', 'holds'],
      ['content', 'holds'],
      ['manifest', 'holds'],
      ['freshness', 'not judged'],
      ['image', 'holds'],
      ['record', 'not judged'],
    ]);
  });

  it('[RPT] 4: a failure that names no manifest, because there was none', async () => {
    const reference = { uri: '', digest: { algorithm: -16, bytes: new Uint8Array() } };
    const appraisal = appraiseReport(await sealed({ ...FAILED, reference }), books());
    expect(appraisal.verdict).toBe('genuine');
    expect(appraisal.claims.find(({ claim }) => claim === 'manifest')?.result).toBe('not judged');
  });

  it('[RPT] 4: an unread manifest leaves the URI empty; the digest says which release it is', async () => {
    const reference = { ...FAILED.reference, uri: '' };
    expect(appraiseReport(await sealed({ ...FAILED, reference }), books()).verdict).toBe('genuine');
  });

  it('RFC 9334 10.2: the answer to the challenge that was sent', async () => {
    const appraisal = appraiseReport(await sealed(FAILED), books({}, {}, { nonce: FAILED.nonce }));
    expect(appraisal.claims.find(({ claim }) => claim === 'freshness')?.result).toBe('holds');
  });

  it('the newest report again, and newer ones', async () => {
    for (const age of [40, 41]) {
      const last = { age: 40, keptNumber: 7n };
      expect(appraiseReport(await sealed(SUCCESS, age), books({ lastHeard: last })).verdict).toBe('genuine');
    }
  });

  it('RFC 9864: Ed25519 too', async () => {
    const other = freshSigner('Ed25519');
    const bytes = await sealed(SUCCESS, 40, other);
    expect(appraiseReport(bytes, books({ reportKey: other.publicKey })).verdict).toBe('genuine');
  });
});

type Case = readonly [AppraisalCode, () => Promise<Uint8Array> | Uint8Array, AppraisalBooks];

const another = parameters([3, { algorithm: -16, bytes: DIGEST }]);
const REFUSED: readonly Case[] = [
  ['container-malformed', () => genuine.subarray(0, 90), books()],
  ['container-malformed', () => encode(new CborTag(98, [])), books()],
  ['container-malformed', () => sealSign1(signer, { payload: writeReport(SUCCESS) }), books()],
  ['container-malformed', () => new Uint8Array(70_000), books()],
  ['not-a-report', () => sealSign1(signer, { payload: writeReport(SUCCESS), attached: true }), books()],
  [
    'not-a-report',
    () =>
      sealSign1(signer, {
        payload: writeReport(SUCCESS),
        attached: true,
        protectedHeaders: [[LABEL.contentType, 'application/eat+cwt'], ...senderHeaders(SENDER)],
      }),
    books(),
  ],
  [
    'not-a-report',
    () =>
      sealSign1(signer, {
        payload: writeReport(SUCCESS),
        attached: true,
        protectedHeaders: senderHeaders(SENDER),
        unprotectedHeaders: [[LABEL.contentType, REPORT_CONTENT_TYPE]],
      }),
    books(),
  ],
  ['unit-unknown', () => sealReport(SUCCESS, { deviceId: CLASS, age: 1 }, signer), books()],
  ['unit-unknown', () => sealReport(SUCCESS, { deviceId: DEVICE.subarray(1), age: 1 }, signer), books()],
  ['key-unknown', () => genuine, books({ reportKey: undefined })],
  ['key-unknown', () => genuine, books({ reportKey: fromHex('3000') })],
  [
    'key-unknown',
    () => sealReport(SUCCESS, SENDER, heldMacKey(fromHex('01'), macKey)),
    books({ macKey: undefined }),
  ],
  ['signature-wrong', () => sealed(SUCCESS, 40, stranger), books()],
  ['algorithm-not-allowed', () => sealed(SUCCESS, 40, freshSigner('Ed25519')), books()],
  ['algorithm-not-allowed', legacy, books()],
  ['mac-wrong', () => sealReport(SUCCESS, SENDER, heldMacKey(fromHex('01'), CLASS_KEY)), books()],
  ['report-encrypted', encrypted, books()],
  ['report-encrypted', encrypted, books({}, {}, { decrypt: () => undefined })],
  [
    'report-malformed',
    encrypted,
    books({}, {}, { decrypt: () => ({ plaintext: writeReport(SUCCESS), contentType: 'text/plain' }) }),
  ],
  ['report-malformed', () => signed(encode(new CborMap([[4, true]]))), books()],
  ['manifest-unknown', () => genuine, books({}, {}, { release: () => undefined })],
  ['manifest-of-another-class', () => genuine, books({}, { className: 'dosing' })],
  ['reference-differs', () => genuine, books({}, { referenceUri: 'urn:uuid:other' })],
  ['reference-differs', () => genuine, books({}, { referenceUri: null })],
  [
    'success-unnamed',
    () => sealed({ ...SUCCESS, reference: { uri: '', digest: { algorithm: -16, bytes: new Uint8Array() } } }),
    books(),
  ],
  ['nonce-missing', () => genuine, books({}, {}, { nonce: FAILED.nonce })],
  ['nonce-wrong', () => sealed(FAILED), books({}, {}, { nonce: fromHex('00'.repeat(16)) })],
  ['stale', () => genuine, books({ lastHeard: { age: 41, keptNumber: undefined } })],
  ['stale', () => genuine, books({ lastHeard: { age: 39, keptNumber: 8n } })],
  ['record-impossible', () => sealed(FAILED), books({}, {}, { manifest: () => withoutInstall() })],
  ['image-differs', () => sealed({ ...SUCCESS, records: [{ ...CLAIM, properties: another }] }), books()],
];

/** The signature of another algorithm number, over bytes that name it: ES256, which RFC 9864 deprecates. */
async function legacy(): Promise<Uint8Array> {
  const protectedBytes = encode(
    new CborMap([[1, -7], [LABEL.contentType, REPORT_CONTENT_TYPE], ...senderHeaders(SENDER)]),
  );
  const payload = writeReport(SUCCESS);
  const signature = await signer.sign(encode(['Signature1', protectedBytes, new Uint8Array(), payload]));
  return encode(new CborTag(18, [protectedBytes, new CborMap([]), payload, signature]));
}

/** Secure boot only: nothing installs. */
function withoutInstall() {
  const { manifest } = writeManifest(
    describeRelease({
      shape: 'remapped',
      sequenceNumber: 7,
      vendorId: DEVICE,
      classId: CLASS,
      images: [{ digest: IMAGE, sizeBytes: 20_000 }],
      start: true,
    }),
  );
  return readManifest(manifest);
}

const SHARED = { algorithm: contentAlgorithm(1) as AeadAlgorithm, key: fromHex('0f'.repeat(16)) };

/** A COSE_Encrypt0 inside the COSE_Sign1 ([RPT] section 8). */
function encrypted(): Promise<Uint8Array> {
  return encryptMessage({
    plaintext: writeReport(SUCCESS),
    contentType: REPORT_CONTENT_TYPE,
    encryption: { shared: SHARED },
    authenticator: signer,
    protectedHeaders: senderHeaders(SENDER),
  });
}

describe('[RPT] 8: a report that travels encrypted', () => {
  const decrypt = (payload: Uint8Array) => {
    const message = decodeEncrypted(payload);
    if (message.kind !== 'encrypt0' || !message.ciphertext) return undefined;
    const opened = openEncrypt0(message, SHARED, { algorithms: [SHARED.algorithm] });
    if (!opened.ok) return undefined;
    const outcome = decryptWhole(opened.content, message.ciphertext);
    const type = message.headers.protectedGet(LABEL.contentType);
    if (!outcome.ok || type?.type !== 'text') return undefined;
    return { plaintext: outcome.plaintext, contentType: type.value };
  };

  it('is read with the key, after its container was found authentic', async () => {
    const bytes = await encrypted();
    expect(appraiseReport(bytes, books({}, {}, { decrypt }))).toMatchObject({
      verdict: 'genuine',
      report: SUCCESS,
    });
  });

  it('is never decrypted before that', async () => {
    const bytes = (await encrypted()).slice();
    bytes[bytes.length - 1]! ^= 1;
    const refuse = () => {
      throw new Error('decrypted');
    };
    expect(appraiseReport(bytes, books({}, {}, { decrypt: refuse })).refusal).toBe('signature-wrong');
  });
});

describe('what is not taken, each for its own reason', () => {
  it.each(REFUSED)('%s', async (code, make, known) => {
    const appraisal = appraiseReport(await make(), known);
    expect(appraisal.refusal).toBe(code);
    expect(appraisal.verdict).toBe('refused');
    expect(appraisal.claims.find(({ result }) => result === 'fails')?.claim).toBe(
      APPRAISAL_REFUSALS[code].claim,
    );
  });

  it('every code of the table is raised by a case here', () => {
    const raised = new Set(REFUSED.map(([code]) => code));
    const missing = Object.keys(APPRAISAL_REFUSALS).filter((code) => !raised.has(code as AppraisalCode));
    expect(missing).toEqual([]);
  });

  it('nothing is told of a report that is not authentic', () => {
    const bytes = genuine.slice();
    bytes[bytes.length - 1]! ^= 1;
    expect(appraiseReport(bytes, books())).toMatchObject({
      report: undefined,
      sender: undefined,
      release: undefined,
    });
  });

  it('no change of a genuine report is ever genuine, save in what nothing depends on', () => {
    const maced = fc.constantFrom(genuine);
    fc.assert(
      fc.property(maced, fc.nat(), fc.integer({ min: 1, max: 255 }), (bytes, at, flip) => {
        const changed = bytes.slice();
        changed[at % bytes.length]! ^= flip;
        expect(appraiseReport(changed, books()).verdict).toBe('refused');
      }),
      { numRuns: 3000 },
    );
  });

  it('any bytes get a verdict', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 300 }), (bytes) => {
        expect(appraiseReport(bytes, books()).verdict).toBe('refused');
      }),
      { numRuns: 1000 },
    );
  });

  it('signed garbage gets a verdict too: a unit with broken software', async () => {
    await fc.assert(
      fc.asyncProperty(fc.uint8Array({ maxLength: 120 }), async (payload) => {
        expect(appraiseReport(await signed(payload), books()).refusal).toBe('report-malformed');
      }),
      { numRuns: 200 },
    );
  });
});

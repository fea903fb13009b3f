/** Sound inputs for the parsers: Hollin Ridge's, an invented maker, and published examples. Nothing in them is secret. */

import {
  MEASUREMENT_FORMAT,
  readClaims,
  sealToken,
  TOKEN_PROFILE,
  writeChallenge,
  writeClaims,
  writeMeasurement,
} from '../../src/attestation/index.ts';
import { encodeAnnouncement } from '../../src/broadcast/index.ts';
import { concat, fromHex, fromUtf8, sourceOf, toHex } from '../../src/bytes/index.ts';
import { CborEncoded, CborMap, CborTag, encode } from '../../src/cbor/index.ts';
import { heldMacKey } from '../../src/cose/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import { defaultMemoryMap } from '../../src/image/index.ts';
import { JOB_FORMAT } from '../../src/provision/index.ts';
import { encodeFrozen } from '../../src/release/approval/frozen.ts';
import { type SuitRecord, writeReport } from '../../src/report/index.ts';
import { openEnvelope } from '../../src/suit/index.ts';
import { encodeTrustPolicy } from '../../src/unit/index.ts';
import { issuerOf, toPem, writeCrl, writeRequest } from '../../src/x509/index.ts';
import { make } from '../../test/delta/helpers.ts';
import { writeElf, writeHex, writeSRecords } from '../../test/image/writers.ts';
import { EXAMPLES } from '../../test/suit/examples.ts';
import { imageOf } from '../../test/unit/maker.ts';
import { exampleRecord } from '../../test/unit/records.ts';
import { NOW, named, UNTIL } from '../../test/x509/support.ts';
import { macAuthority } from './payloads/authority.ts';
import { certificateAuthority } from './payloads/certified.ts';
import { throwawayKey } from './payloads/keys.ts';
import { makeRigs } from './payloads/rigs.ts';

/** Claims sets: RFC 9711 Appendix A.1.3, and one with everything that is read. */
export function claimsSets(): Uint8Array[] {
  const bytes = (length: number) => Uint8Array.from({ length }, (_, i) => i);
  const published =
    'a60a4cd79b964ddd5471c1393c8888190100500198f50a4ff6c05861c8860d13a638ea19010219faf2190106f5190107031901048263332e3101';
  const whole = writeClaims({
    nonces: [bytes(16)],
    ueid: bytes(17),
    oemid: bytes(16),
    hwmodel: bytes(16),
    dbgstat: 'disabled-since-boot',
    profile: TOKEN_PROFILE,
    bootcount: 12,
    bootseed: bytes(16),
    swname: 'vent',
    swversion: '1.5.0',
    measurements: [{ format: MEASUREMENT_FORMAT, body: measurementBodies()[0]! }],
    results: [{ system: 'fieldseal self-check', results: [{ id: 'running code', result: 'success' }] }],
    software: { manifestDigest: bytes(32), sequenceNumber: 5n },
    boots: [{ count: 12, kind: 'start', runs: 'A', sequenceNumber: 5n, failures: ['stored-image-wrong'] }],
    others: [],
  });
  return [fromHex(published), whole];
}

/** Bodies of measurements, of a slot and of the recovery image. */
export function measurementBodies(): Uint8Array[] {
  const measured = { area: 'A', address: 0x0800_0000, length: 262_144, digest: sha256() };
  return [undefined, sha256()].map((manifestDigest) => writeMeasurement({ ...measured, manifestDigest }));
}

/** Challenges, by name and by address. */
export function challenges(): Uint8Array[] {
  const whom = { nonce: sha256(), deviceId: sha256().subarray(0, 16) };
  const regions = [{ name: 'running' }, { address: 0x0800_1000, length: 4096 }];
  return regions.map((region) => writeChallenge({ ...whom, region }));
}

/** Announcements: of a release to a share, of nothing to units by name. */
export function announcements(): Uint8Array[] {
  const file = (uri: string) => ({ digest: sha256(), size: 1715, uri });
  const common = {
    classId: sha256().subarray(0, 16),
    counter: 7n,
    notBefore: 1_800_000_000n,
    expiry: 1_800_600_000n,
    wave: 'pilot',
  };
  const offer = {
    manifestDigest: sha256(),
    sequenceNumber: 12n,
    envelope: file('p/01'),
    images: [file('p/02')],
  };
  const lot = sha256().subarray(16);
  return [
    encodeAnnouncement({ ...common, reach: { kind: 'share', permille: 20, lot }, offer }),
    encodeAnnouncement({ ...common, reach: { kind: 'units', units: [lot] }, offer: null }),
    encodeAnnouncement({
      ...common,
      reach: { kind: 'share', permille: 50, lot, units: [lot] },
      offer,
      steppingStones: [{ ...offer, sequenceNumber: offer.sequenceNumber - 1n }],
      condition: 'vents-closed',
    }),
  ];
}

/** Tokens: RFC 9711 Appendix A.2.1, which has no type of its own and is refused for it, is not among them. */
export async function tokens(): Promise<Uint8Array[]> {
  const key = heldMacKey(fromHex('01'), sha256());
  const [, claims] = claimsSets();
  return [await sealToken(readClaims(claims!), sha256().subarray(0, 16), key)];
}

/** Envelopes of [M] Appendix B, as published, and our own. */
export async function envelopes(): Promise<Uint8Array[]> {
  const alone = (await makeRigs()).filter(({ radio }) => !radio);
  const own = alone.flatMap(({ offers }) => offers.map(({ envelope }) => envelope));
  return [...EXAMPLES.map(([, envelope]) => envelope), ...own];
}

/** The manifests in them, without their byte string. */
export async function manifests(): Promise<Uint8Array[]> {
  return (await envelopes()).map((envelope) => openEnvelope(sourceOf(envelope)).manifest);
}

/** RFC 8949 Appendix A, and what else a generic reader meets. */
export function cborItems(): Uint8Array[] {
  const published = [
    '1bffffffffffffffff',
    '3863',
    'f97e00',
    'fb3ff199999999999a',
    'c074323031332d30332d32315432303a30343a30305a',
  ];
  const nested = 'a26161016162820203';
  return [
    ...[
      ...published,
      nested,
      '826161a161626163',
      'd82076687474703a2f2f7777772e6578616d706c652e636f6d',
      'f8ff',
      'f7',
    ].map(fromHex),
    encode(
      new CborMap([
        [1, [1, -1, 'x']],
        [2, new CborTag(24, fromHex('83010203'))],
      ]),
    ),
  ];
}

/** Our own blocks, and one with several signers by the shape of RFC 9052 section 4.1. */
export async function coseMessages(): Promise<Uint8Array[]> {
  const digest = encode([-16, sha256()]);
  const signer = [fromHex('a10128'), new CborMap([[4, fromUtf8('11')]]), new Uint8Array(64)];
  const recipient = [
    new Uint8Array(),
    new CborMap([
      [1, -6],
      [4, fromUtf8('our-secret')],
    ]),
    new Uint8Array(),
  ];
  return [
    ...(await certificateAuthority('p256')).blocks(digest, 1),
    ...(await certificateAuthority('ed25519')).blocks(digest, 0),
    ...macAuthority.blocks(digest, 3),
    encode(new CborTag(98, [new Uint8Array(), new CborMap([]), null, [signer]])),
    encode(new CborTag(97, [fromHex('a10105'), new CborMap([]), null, new Uint8Array(32), [recipient]])),
  ];
}

/** COSE_Encrypt0 and COSE_Encrypt with a wrapped and an agreed key, by the shapes of RFC 9052 section 5. */
export function encryptedMessages(): Uint8Array[] {
  const open = new CborMap([[5, new Uint8Array(12)]]);
  const wrapped = [
    new Uint8Array(),
    new CborMap([
      [1, -3],
      [4, fromUtf8('kid')],
    ]),
    new Uint8Array(24),
  ];
  const key = new CborMap([
    [1, 2],
    [-1, 1],
    [-2, new Uint8Array(32).fill(1)],
    [-3, new CborEncoded(fromHex('f5'))],
  ]);
  const agreed = [fromHex('a101381c'), new CborMap([[-1, key]]), new Uint8Array(24)];
  return [
    encode(new CborTag(16, [fromHex('a10101'), open, new Uint8Array(20)])),
    encode(new CborTag(96, [fromHex('a10101'), open, null, [wrapped]])),
    encode(new CborTag(96, [fromHex('a10101'), open, new Uint8Array(20), [agreed, wrapped]])),
  ];
}

export async function certificates(): Promise<Uint8Array[]> {
  const authorities = [await certificateAuthority('p256'), await certificateAuthority('ed25519')];
  return authorities.flatMap(({ root, chain }) => [root, ...chain].map(({ der }) => der));
}

export async function revocationLists(): Promise<Uint8Array[]> {
  const { root } = await certificateAuthority('p256');
  const key = throwawayKey('p256', 'root');
  const facts = { issuer: issuerOf(root), number: 3, thisUpdate: NOW, nextUpdate: UNTIL };
  const revoked = [{ serial: '5102', date: NOW, reason: 'keyCompromise' as const }];
  const sign = async (tbs: Uint8Array) => key.sign(tbs);
  return [await writeCrl({ ...facts, revoked }, sign), await writeCrl({ ...facts, revoked: [] }, sign)];
}

export function requests(): Promise<Uint8Array[]> {
  return Promise.all(
    (['p256', 'ed25519'] as const).map((type) => {
      const key = throwawayKey(type, 'signer');
      const facts = {
        subject: named('line 1'),
        publicKey: key.spki,
        profile: 'signer' as const,
        trial: true,
      };
      const scopes = ['urn:uuid:c08f14d6-a43a-533a-9da4-39d2a9c63952'];
      return writeRequest({ ...facts, scopes, generation: 1 }, async (tbs) => key.sign(tbs));
    }),
  );
}

/** A certificate, and one with its chain. */
export async function pemFiles(): Promise<Uint8Array[]> {
  const [root, ...chain] = (await certificates()).map((der) => toPem('CERTIFICATE', der));
  return [root!, chain.join('')].map(fromUtf8);
}

/** A policy that says nothing, and one that says everything. */
export function trustPolicies(): Uint8Array[] {
  const keys = (count: number, from: number) =>
    Array.from({ length: count }, (_, i) => (from + i).toString(16).padStart(64, '0'));
  return [
    encodeTrustPolicy({ minimumGeneration: 0, denied: [], retired: [], securityVersion: 0 }),
    encodeTrustPolicy({ minimumGeneration: 7, denied: keys(3, 1), retired: keys(2, 9), securityVersion: 4 }),
  ];
}

/** A report of success, and one of a failure with a record, a claim and capabilities ([RPT] sections 4 and 6). */
export function reports(): Uint8Array[] {
  const reference = { uri: 'https://hollinridge.example/r', digest: { algorithm: -16, bytes: sha256() } };
  const properties = new Map([[14, 300]]) as unknown as SuitRecord['properties'];
  const record = {
    kind: 'record',
    manifestId: [],
    section: 20,
    offset: 4,
    component: 0,
    properties,
  } as const;
  const claim = { kind: 'claim', component: [fromUtf8('main')], properties } as const;
  const capabilities = {
    components: [{ identifier: [fromUtf8('main')], prefix: false }],
    lists: [2, 3, 4].map((key) => ({ key, codes: [1, 3] })),
  };
  return [
    writeReport({ reference, nonce: new Uint8Array(16), records: [], result: true }),
    writeReport({
      reference,
      records: [claim, record],
      result: { code: 7, record, reason: 4 },
      capabilities,
    }),
  ];
}

/** A request for one plain image, and one for two that are encrypted, the second with a delta. */
export function sealingRequests(): Uint8Array[] {
  const image = {
    digest: sha256(PRECURSOR),
    sizeBytes: 700,
    address: 0x0800_0000,
    uri: undefined,
    delta: undefined,
  };
  const precursor = { digest: image.digest, sizeBytes: 690 };
  const delta = { uri: '#delta', digest: image.digest, sizeBytes: 90, windowBytes: 512, precursor };
  const plain = {
    workspace: '1c0f9d3e-0000-4000-8000-000000000001',
    counter: '1c0f9d3e-0000-4000-8000-000000000002',
    className: 'vent',
    vendorId: new Uint8Array(16).fill(1),
    classId: new Uint8Array(16).fill(2),
    deviceId: undefined,
    version: '1.4.0',
    sequenceNumber: 12n,
    securityVersion: 0,
    images: [image],
    components: [],
    dependencies: [],
    detached: false,
    withoutText: false,
    description: undefined,
    referenceUri: undefined,
    signers: [],
    encryption: undefined,
    approvals: 1,
    manifest: fromHex('a10101'),
    severed: new Map([[23, fromHex('a0')]]),
  };
  const encrypted = {
    ...plain,
    deviceId: new Uint8Array(16).fill(3),
    sequenceNumber: 2n ** 62n,
    images: [image, { ...image, uri: 'https://hollinridge.example/b', delta }],
    components: [{ name: 'radio', digest: image.digest, sizeBytes: 90, started: false }],
    dependencies: [
      { name: 'radio.suit', digest: image.digest, fileDigest: image.digest, sections: ['install' as const] },
    ],
    detached: true,
    withoutText: true,
    description: 'warmer nights',
    referenceUri: 'urn:example:vent',
    signers: ['line-1', 'line-2'],
    encryption: {
      algorithm: 'A128CTR',
      kind: 'units',
      keyIds: [new Uint8Array(8), new Uint8Array(8).fill(9)],
    },
    severed: new Map<number, Uint8Array>(),
  };
  return [plain, encrypted].map(encodeFrozen);
}

/** The line behind the JSON of a unit file's header. */
export const digestLine = (of: Uint8Array): Uint8Array => concat(fromUtf8(`\nsha256 ${toHex(sha256(of))}\n`));

const PIECES = [
  { address: 0x0800_0000, bytes: imageOf(80) },
  { address: 0x0801_fff8, bytes: imageOf(24, 3) },
];

export const intelHex = (): Uint8Array[] => [writeHex(PIECES), writeHex(PIECES, 32, '\r\n')].map(fromUtf8);

export const sRecords = (): Uint8Array[] =>
  [writeSRecords(PIECES), writeSRecords([{ address: 0x100, bytes: imageOf(40) }], 1, 16, '\r\n')].map(
    fromUtf8,
  );

export const elfFiles = (): Uint8Array[] =>
  [true, false].flatMap((wide) =>
    [true, false].map((littleEndian) =>
      writeElf({ wide, littleEndian, segments: PIECES, entry: 0x0800_0001 }),
    ),
  );

/** The image that the deltas of `deltas` are made against. */
export const PRECURSOR = imageOf(700);

export function deltas(): Uint8Array[] {
  const edited = PRECURSOR.slice();
  edited.set(imageOf(40, 5), 300);
  return [
    make(PRECURSOR, edited),
    make(PRECURSOR, edited, 128),
    make(PRECURSOR, imageOf(700, 8)),
    make(PRECURSOR, PRECURSOR),
  ];
}

const json = (value: unknown): Uint8Array => fromUtf8(JSON.stringify(value, undefined, 1));

export const unitRecords = (): Uint8Array[] => [
  json(exampleRecord()),
  json(
    exampleRecord({
      scheme: 'symmetric',
      profile: 'suit-sha256-hmac-a128kw-a128ctr',
      anchors: [],
      mac_keys: [{ id: 'c1a55c1a', label: 'class key', secret: { trial_hex: '11'.repeat(32) } }],
      memory: defaultMemoryMap({ core: 'none', shape: 'staged' }),
    }),
  ),
];

const BATCH = '9a8c3a38-7a34-4bd5-8f5e-9b4a3e4f9d10';
const ISSUED = '2026-11-25T09:00:00.000Z';

export function provisionJobs(): Uint8Array[] {
  const { memory, vendor_id, class_ids, class_name, profile, floors, anchors } = exampleRecord();
  return [
    json({
      format: JOB_FORMAT,
      batch: BATCH,
      issued: ISSUED,
      trial: true,
      vendor_domain: 'hollinridge.example',
      vendor_id,
      class_name,
      class_ids,
      scheme: 'asymmetric',
      profile,
      clock: false,
      memory,
      trial_attempts: 3,
      anchors,
      mac_keys: [],
      unit_keys: ['report'],
      floors,
      denied_signers: [],
      first: null,
      serials: ['0001', '0002'],
      cautions: ['for trial only'],
    }),
  ];
}

export function provisionResults(): Uint8Array[] {
  const spki = toHex(throwawayKey('p256', 'unit').spki);
  return [
    json({
      format: 'fieldseal.provision-result/1',
      batch: BATCH,
      station: 'bench-3',
      finished: ISSUED,
      units: [
        {
          serial: '0001',
          outcome: 'provisioned',
          device_id: BATCH,
          anchors_read_back: [{ label: 'root', name: '3000', spki }],
          overwrite_attempt: { attempted: true, observed: 'refused' },
          debug: 'closed',
          unit_keys: [{ purpose: 'report', spki }],
          mac_key_check_values: [],
          first_envelope_sha256: null,
        },
        { serial: '0002', outcome: 'scrapped', reason: 'fell off the bench' },
      ],
    }),
  ];
}

export const inventoryColumns = (): Uint8Array[] => [
  fromUtf8(`format: fieldseal.inventory-columns/1
delimiter: ";"
facts:
  serial: Serial No
  class: { column: Product, values: { VC-2: vent, DC-1: dosing } }
  clock: { column: RTC, values: { Y: "yes", N: "no" } }
  anchors: { column: Roots, separator: "," }
  link: { always: nb-iot }
`),
];

export const broadcastPlans = (): Uint8Array[] => [
  fromUtf8(`format: fieldseal.broadcast-plan/1
class: vent
success: 950
within: 14 d
soak: 24 h
silence: 3 d
announced_for: 14 d
condition: vents-closed
stepping_stones: [7, 9]
stop:
  refused: { share: 20, least: 2 }
  fell_back: { share: 10, least: 1 }
  silent: { share: 100, least: 5 }
waves:
  - name: pilot
    serials: ["0001", "0002"]
  - name: first
    share: 50
    soak: 30 min
  - name: everyone
    share: 1000
    stop: { refused: { share: 5, least: 9 }, fell_back: { share: 5, least: 9 }, silent: { share: 9, least: 9 } }
`),
];

export const figures = (): Uint8Array[] => [
  fromUtf8(`format: fieldseal.figures/1
links:
  ridge:
    like: lorawan-eu-dr3
    about: gateway on the ridge
    duty_cycle: 0.01
    loss: { value: 0.02, source: "measured in May" }
  wire: { payload: 256, rate: 9600, receive_current: 5, supply: 5, delivery: one-by-one, listening: frames }
unit: { esp256_verify: 61, hash_rate: 600000 }
classes:
  vent: { supply: 3.3 }
delta: { delta_share: 0.1 }
`),
];

export const deviceClasses = (): Uint8Array[] => [
  fromUtf8(`# yaml-language-server: $schema=../schemas/device-class.json
format: fieldseal.device-class/1
model: VC-2
hardware_revision: r3
scheme: asymmetric
clock: false
memory:
  shape: remapped
  core: cortex-m
  link_address: 0x08000000
  slots:
    - { name: A, address: 0x08000000, size: 256KiB }
    - { name: B, address: 0x08040000, size: 256KiB }
  envelopes: { address: 0x08080000, size: 16KiB }
  state: { address: 0x08084000, size: 8KiB }
  flash:
    erase_page: 4KiB
    write_unit: 8
    erased_value: 0xff
    endurance: 10000
  ram: { address: 0x20000000, size: 64KiB }
  leave_out: []
`),
];

/** The units that are attacked: small flash in memory, one image kept, one release on offer. */
import { concat, sourceOf, toHex } from '../../../src/bytes/index.ts';
import { encode } from '../../../src/cbor/index.ts';
import type { Recipient } from '../../../src/cose/index.ts';
import { sha256 } from '../../../src/crypto/index.ts';
import type { MemoryMap } from '../../../src/image/index.ts';
import {
  deltaUris,
  describeRelease,
  digestOf,
  encodeDigest,
  formatUuid,
  integratedUris,
  type ReleaseShape,
  type WrittenManifest,
  writeEnvelopeHead,
  writeManifest,
} from '../../../src/suit/index.ts';
import {
  type AuthenticationPolicy,
  beginLife,
  type Cut,
  type Decision,
  EmulatedFlash,
  type Flash,
  type FlashSpan,
  memoryStore,
  openUnit,
  readUnitRecord,
  type Store,
  type Unit,
  type UnitRecord,
  unitFileLayout,
  unwrappersOf,
} from '../../../src/unit/index.ts';
import { edited } from '../../../test/delta/helpers.ts';
import { MARL, RADIO } from '../../../test/unit/composed.ts';
import { deltaOf } from '../../../test/unit/deltas.ts';
import { encryptedRelease, KEK, toHolders, toUnit } from '../../../test/unit/encrypted.ts';
import { DEVICE, imageOf, VENDOR, VENT } from '../../../test/unit/maker.ts';
import { exampleRecord } from '../../../test/unit/records.ts';
import { type Node, type Place, placesOf, treeOf, valueAt, write } from '../cbor-tree.ts';
import { type Authority, FUZZ_CLASS_KEY, macAuthority } from './authority.ts';
import { type CertificateAuthority, certificateAuthority } from './certified.ts';
import { composedRelease } from './composed.ts';
import { throwawayAgreementKey } from './keys.ts';
import { type Messenger, messengerTo } from './messages.ts';

/** What is offered before it is changed. */
export interface Offer {
  readonly tree: Node;
  readonly places: readonly Place[];
  readonly envelope: Uint8Array;
  /** The image, where it comes beside the envelope. */
  readonly image: Uint8Array | undefined;
  readonly manifestDigest: Uint8Array;
  readonly securityVersion: number;
}

/** One unit, and what its maker sealed for it. */
export interface Rig {
  readonly name: string;
  readonly shape: ReleaseShape;
  readonly authority: Authority | CertificateAuthority;
  readonly record: UnitRecord;
  readonly offers: readonly Offer[];
  /** Releases whose images travel encrypted; none where the unit has no key for them. */
  readonly encrypted: readonly Offer[];
  /** Releases by delta from the image that is kept; none where the unit takes none. */
  readonly byDelta: readonly Offer[];
  /** Where what is offered travels in an encrypted message. */
  readonly messenger?: Messenger;
  /** The radio beside the image that runs, where there is one: who seals for it, and the images that were sealed. */
  readonly radio?: { readonly authority: CertificateAuthority; readonly images: readonly Uint8Array[] };
  /** Genuine envelopes that this unit must not take: old ones, and one for another class. */
  readonly others: readonly Offer[];
  /** The store with one image kept and running. */
  readonly kept: Uint8Array;
  /** The store with a new image ready. */
  readonly ready: Uint8Array;
  /** The store with the new image running on trial. */
  readonly onTrial: Uint8Array;
  /** Digests of the manifests kept, and ready. */
  readonly digests: readonly Uint8Array[];
  /** What installing may write to, in bytes of the store. */
  readonly free: readonly FlashSpan[];
}

/** A unit under power. */
export interface Powered {
  readonly unit: Unit;
  readonly flash: EmulatedFlash;
}

const MARKS_KEY = new Uint8Array(32).fill(0x77);
/** By which content keys reach units of the asymmetric scheme. TEST KEY. */
const OWN_KEY = throwawayAgreementKey('decryption');
const PAGE = 512;
const SLOT_PAGES = 2;
/** What most units need, and those that keep several signatures or a long one. */
const ENVELOPE_PAGES = { usual: 6, large: 10 };
const PROFILES = {
  p256: 'suit-sha256-esp256-ecdh-a128ctr',
  ed25519: 'suit-sha256-ed25519-ecdh-a128ctr',
  'hss-lms': 'suit-sha256-hsslms-a256kw-a256ctr',
  hmac: 'suit-sha256-hmac-a128kw-a128ctr',
} as const;

const MANIFEST = 3;
export const KEPT_NUMBER = 5;
const KEPT_SEED = 1;
const KEPT_IMAGE = imageOf(300, KEPT_SEED);
/** RAM that units set aside for a window, where they take deltas: smaller than the images. */
const DELTA_WINDOW = 128;
export const OFFERED_NUMBER = 7;

/** What is asked for where several must sign. */
const POLICIES = {
  both: { rule: 'all', roles: [{ role: 'author' }, { role: 'approver' }] },
  twoOfThree: {
    rule: 'at_least',
    count: 2,
    roles: [{ role: 'author' }, { role: 'approver', algorithm: 'Ed25519' }, { role: 'auditor' }],
  },
} as const satisfies Record<string, AuthenticationPolicy>;

/** All units that are attacked. */
export async function makeRigs(): Promise<Rig[]> {
  const plain = await plainRigs();
  return [
    ...plain,
    ...(await policyRigs()),
    await hashRig(),
    ...(await messageRigs()),
    await encryptedStagedRig(),
    await composedRig(),
  ];
}

async function plainRigs(): Promise<Rig[]> {
  const [esp256, ed25519] = [await certificateAuthority('p256'), await certificateAuthority('ed25519')];
  const deltaWindow = DELTA_WINDOW;
  const remapped = makeRig({ name: 'hmac, remapped', authority: macAuthority });
  return [
    takingDeltas(makeRig({ name: 'esp256, remapped', authority: esp256, deltaWindow })),
    { ...remapped, encrypted: await encryptedOffers(remapped, toHolders(KEK)) },
    makeRig({ name: 'ed25519, linked', authority: ed25519, shape: 'linked' }),
    takingDeltas(makeRig({ name: 'hmac, staged', authority: macAuthority, shape: 'staged', deltaWindow })),
  ];
}

async function policyRigs(): Promise<Rig[]> {
  const [author, approver, auditor] = (['author', 'approver', 'auditor'] as const).map((role) => ({
    type: 'p256' as const,
    role,
  }));
  const both = { hands: [author!, approver!], needed: 2 };
  const three = { hands: [author!, { type: 'ed25519' as const, role: 'approver' }, auditor!], needed: 2 };
  return [
    makeRig({
      name: 'author and approver, remapped',
      authority: await certificateAuthority('p256', both),
      authentication: POLICIES.both,
      envelopePages: ENVELOPE_PAGES.large,
    }),
    makeRig({
      name: 'two of three, staged',
      authority: await certificateAuthority('p256', three),
      shape: 'staged',
      authentication: POLICIES.twoOfThree,
      envelopePages: ENVELOPE_PAGES.large,
    }),
  ];
}

/** Hash-based signatures under a root that signs otherwise. */
async function hashRig(): Promise<Rig> {
  const authority = await certificateAuthority('p256', { hands: [{ type: 'hss-lms' }], needed: 1 });
  return makeRig({ name: 'hss-lms, remapped', authority, envelopePages: ENVELOPE_PAGES.large });
}

async function messageRigs(): Promise<Rig[]> {
  const esp256 = await certificateAuthority('p256');
  const signed = makeRig({ name: 'esp256, messages', authority: esp256, ownKey: true });
  const maced = makeRig({ name: 'hmac, messages', authority: macAuthority });
  const sent = async (rig: Rig, recipient: Recipient): Promise<Rig> => ({
    ...rig,
    encrypted: await encryptedOffers(rig, recipient),
    messenger: await messengerTo(recipient, rig.authority),
  });
  return [await sent(signed, toUnit(OWN_KEY)), await sent(maced, toHolders(KEK))];
}

/** The ciphertext waits in the staging area and is decrypted at the start. */
async function encryptedStagedRig(): Promise<Rig> {
  const authority = macAuthority;
  const encrypted = await encryptedOffers({ authority, shape: 'staged' }, toHolders(KEK));
  return makeRig({ name: 'hmac, staged, encrypted', authority, shape: 'staged', encrypted });
}

/** Another maker's image runs beside its own. */
async function composedRig(): Promise<Rig> {
  const authority = await certificateAuthority('p256');
  const hands = [{ type: 'p256' as const }];
  const marl = await certificateAuthority('p256', { hands, needed: 1, classId: RADIO, words: 'marl, ' });
  const sealed = (number: number, seed: number) => composedRelease(authority, marl, { number, seed });
  const releases = [
    await sealed(KEPT_NUMBER, KEPT_SEED),
    await sealed(KEPT_NUMBER - 1, 5),
    await sealed(OFFERED_NUMBER, 2),
    await sealed(OFFERED_NUMBER, 3),
  ];
  const [first, old, ...offers] = releases.map(({ envelope }) => offerFrom(envelope, undefined, 1));
  const rig = makeRig({
    name: 'esp256, with a radio',
    authority,
    radioMaker: marl,
    envelopePages: ENVELOPE_PAGES.large,
    sealed: { offers, first: first!, others: [old!] },
  });
  return { ...rig, radio: { authority: marl, images: releases.map(({ radioImage }) => radioImage) } };
}

interface RigOptions {
  readonly name: string;
  readonly authority: Authority | CertificateAuthority;
  readonly shape?: ReleaseShape;
  readonly deltaWindow?: number;
  readonly envelopePages?: number;
  readonly authentication?: AuthenticationPolicy;
  /** Whether content keys reach the unit by its own key pair. */
  readonly ownKey?: boolean;
  /** Releases whose images travel encrypted; the first of them is the one that is ready, and on trial. */
  readonly encrypted?: readonly Offer[];
  /** Who seals for a radio; none where absent. */
  readonly radioMaker?: CertificateAuthority;
  /** What the maker sealed; releases of one image where absent. */
  readonly sealed?: Sealed;
}

interface Sealed {
  readonly offers: readonly Offer[];
  /** The one that is kept. */
  readonly first: Offer;
  readonly others: readonly Offer[];
}

function makeRig(options: RigOptions): Rig {
  const { name, authority, shape = 'remapped', encrypted = [] } = options;
  const record = recordOf(options);
  const { offers, first, others } = options.sealed ?? releasesOf(authority, shape);
  const second = encrypted[0] ?? offers[0]!;
  const made = { offers, encrypted, byDelta: [], others: [first, ...others] };
  return {
    ...{ name, shape, authority, record, ...made, free: freeOf(record) },
    ...livesOf(record, first, second),
    digests: [first, second].map((each) => each.manifestDigest),
  };
}

function releasesOf(authority: Authority, shape: ReleaseShape): Sealed {
  return {
    offers: [
      seal(authority, shape, {}),
      seal(authority, shape, { seed: 3, detached: true, sever: ['text', 'install'] }),
      seal(authority, shape, { seed: 4, securityVersion: 2, sever: ['text', 'payload-fetch', 'install'] }),
    ],
    first: seal(authority, shape, { number: KEPT_NUMBER, seed: KEPT_SEED }),
    others: [
      seal(authority, shape, { number: KEPT_NUMBER - 1, seed: 5 }),
      seal(authority, shape, { classId: VENDOR, seed: 6 }),
      seal(authority, shape, { deviceId: VENT, seed: 7 }),
    ],
  };
}

function recordOf(options: RigOptions): UnitRecord {
  const { authority, shape = 'remapped', deltaWindow, authentication, ownKey = false, radioMaker } = options;
  const symmetric = authority.type === 'hmac';
  const { id, key } = FUZZ_CLASS_KEY;
  const map = mapOf(shape, options.envelopePages ?? ENVELOPE_PAGES.usual, radioMaker !== undefined);
  const secret = { pem: 'known to everybody' };
  return readUnitRecord(
    exampleRecord({
      vendor_id: formatUuid(VENDOR),
      class_ids: [formatUuid(VENT)],
      device_id: formatUuid(DEVICE),
      scheme: symmetric ? 'symmetric' : 'asymmetric',
      profile: PROFILES[authority.type],
      anchors: [
        ...('root' in authority
          ? [{ ...anchorOf(authority), label: 'root', purpose: 'release' as const }]
          : []),
        ...(radioMaker ? [radioAnchorOf(radioMaker)] : []),
      ],
      mac_keys: symmetric ? [{ id: toHex(id), label: 'class key', secret: { trial_hex: toHex(key) } }] : [],
      unit_keys: ownKey ? [{ purpose: 'decryption', spki: toHex(OWN_KEY.spki), secret }] : [],
      memory: { ...map, ...(deltaWindow !== undefined && { delta_window: deltaWindow }) },
      ...(authentication && { authentication }),
    }),
  );
}

function anchorOf({ root }: CertificateAuthority) {
  return { name: toHex(root.subject.der), spki: toHex(root.spki) };
}

function radioAnchorOf(maker: CertificateAuthority): UnitRecord['anchors'][number] {
  const class_ids = [formatUuid(RADIO)];
  const author = { vendor_id: formatUuid(MARL), class_ids, components: ['radio'], signer_generation: 0 };
  return { ...anchorOf(maker), label: 'marl', purpose: 'dependency', author };
}

function mapOf(shape: ReleaseShape, envelopePages: number, radio: boolean): MemoryMap {
  const size = SLOT_PAGES * PAGE;
  const [first, second] = shape === 'staged' ? ['run', 'staging'] : ['A', 'B'];
  const envelopes = 2 * envelopePages * PAGE;
  const state = 8 * PAGE;
  const areas = [0, 1].map((i) => ({ address: 2 * size + envelopes + state + i * size, size }));
  return {
    shape,
    core: 'none',
    slots: [
      { name: first!, address: 0, size },
      { name: second!, address: size, size },
    ],
    envelopes: { address: 2 * size, size: envelopes },
    state: { address: 2 * size + envelopes, size: state },
    flash: { erase_page: PAGE, write_unit: 8, erased_value: 0xff, endurance: 10_000 },
    ram: { address: 0, size: 0 },
    leave_out: [],
    ...(radio && { components: [{ name: 'radio', areas, started: false }] }),
  };
}

interface SealOptions {
  readonly number?: number;
  readonly seed?: number;
  readonly detached?: boolean;
  readonly securityVersion?: number;
  readonly classId?: Uint8Array;
  readonly deviceId?: Uint8Array;
  readonly sever?: readonly ('text' | 'install' | 'payload-fetch')[];
}

const TEXT = {
  language: 'en',
  modelName: 'VC-2',
  updateDescription: 'Repairs the vent motor, and more than that',
};

function seal(authority: Authority, shape: ReleaseShape, options: SealOptions): Offer {
  const { seed = 2, detached = false, securityVersion = 1 } = options;
  const images = (shape === 'linked' ? [0, 1] : [0]).map((i) => imageOf(300 + i, seed + 10 * i));
  const uris = detached
    ? images.map((_, i) => `https://depot.hollinridge.example/${i}`)
    : integratedUris(shape);
  const written = manifestOf(shape, images, uris, options);
  const digest = encodeDigest(digestOf(encode(written.manifest)));
  const integrated = detached ? [] : images.map((bytes, i) => ({ key: uris[i]!, bytes }));
  const pieces = writeEnvelopeHead({
    digest,
    blocks: authority.blocks(digest, securityVersion),
    ...written,
    integrated: integrated.map(({ key, bytes }) => ({ key, length: bytes.length })),
  });
  const envelope = concat(...pieces.flatMap((piece, i) => [piece, integrated[i]?.bytes ?? new Uint8Array()]));
  return offerFrom(envelope, detached ? images.at(-1) : undefined, securityVersion);
}

/** To one recipient: decrypted on the fly into the free slot, or out of the staging area. */
function encryptedOffers(
  { authority, shape }: Pick<Rig, 'authority' | 'shape'>,
  recipient: Recipient,
): Promise<Offer[]> {
  return Promise.all(
    [8, 9].map(async (seed) => {
      const { envelope } = await encryptedRelease({
        shape,
        profile: PROFILES[authority.type],
        images: [imageOf(300, seed)],
        recipients: [recipient],
        seal: async (digest) => authority.blocks(digest, 1),
        sequenceNumber: OFFERED_NUMBER,
      });
      return offerFrom(envelope, undefined, 1);
    }),
  );
}

function takingDeltas(rig: Rig): Rig {
  return { ...rig, byDelta: [11, 12].map((seed) => sealDelta(rig, deltaFor(seed))) };
}

/** A delta from the image that is kept, and the image that it makes. */
export interface RigDelta {
  readonly delta: Uint8Array;
  readonly image: Uint8Array;
}

/** The same for the same seed, made once. */
export function deltaFor(seed: number): RigDelta {
  const known = deltas.get(seed);
  if (known) return known;
  const image = edited(KEPT_IMAGE, seed, 5);
  const made = { image, delta: deltaOf(KEPT_IMAGE, image, DELTA_WINDOW) };
  deltas.set(seed, made);
  return made;
}

const deltas = new Map<number, RigDelta>();

/** Seals a delta, whatever it is, as one that makes the image. */
export function sealDelta({ authority, shape }: Pick<Rig, 'authority' | 'shape'>, made: RigDelta): Offer {
  const { delta, image } = made;
  const [uri] = deltaUris(shape);
  const description = describeRelease({
    shape,
    sequenceNumber: OFFERED_NUMBER,
    vendorId: VENDOR,
    classId: VENT,
    start: true,
    images: [
      {
        digest: sha256(image),
        sizeBytes: image.length,
        uri: 'https://depot.hollinridge.example/0',
        delta: {
          uri: uri!,
          digest: sha256(delta),
          sizeBytes: delta.length,
          windowBytes: DELTA_WINDOW,
          precursor: { digest: sha256(KEPT_IMAGE), sizeBytes: KEPT_IMAGE.length },
        },
      },
    ],
  });
  const written = writeManifest(description);
  const digest = encodeDigest(digestOf(encode(written.manifest)));
  const [head] = writeEnvelopeHead({
    digest,
    blocks: authority.blocks(digest, 1),
    ...written,
    integrated: [{ key: uri!, length: delta.length }],
  });
  return offerFrom(concat(head!, delta), undefined, 1);
}

function offerFrom(envelope: Uint8Array, image: Uint8Array | undefined, securityVersion: number): Offer {
  const tree = treeOf(envelope)!;
  const manifestDigest = sha256(write(valueAt(tree, MANIFEST)!));
  return { tree, places: placesOf(tree), envelope, image, manifestDigest, securityVersion };
}

function manifestOf(
  shape: ReleaseShape,
  images: readonly Uint8Array[],
  uris: readonly string[],
  { number = OFFERED_NUMBER, classId = VENT, deviceId, sever = ['text'] }: SealOptions,
): WrittenManifest {
  const description = describeRelease({
    shape,
    sequenceNumber: number,
    vendorId: VENDOR,
    classId,
    deviceId,
    start: true,
    version: '1.4.0',
    text: TEXT,
    images: images.map((image, i) => ({ digest: sha256(image), sizeBytes: image.length, uri: uris[i]! })),
  });
  return writeManifest({ ...description, sever });
}

/** The unit in three moments of its life. */
function livesOf(record: UnitRecord, first: Offer, second: Offer): Pick<Rig, 'kept' | 'ready' | 'onTrial'> {
  const store = memoryStore(unitFileLayout(record.memory).size);
  beginLife(record, flashOver(record, store), MARKS_KEY);
  const { unit } = power(record, store);
  const accepted = (result: { verdict: string; refusal: unknown }) => {
    if (result.verdict !== 'accepted')
      throw new Error(`the fuzz run's own unit refuses: ${JSON.stringify(result.refusal)}`);
  };
  accepted(unit.install(offerOf(first)));
  accepted(unit.start());
  accepted(unit.keep());
  const kept = store.bytes.slice();
  accepted(unit.install(offerOf(second)));
  const ready = store.bytes.slice();
  accepted(unit.start());
  return { kept, ready, onTrial: store.bytes.slice() };
}

/** As a unit is offered it. */
export function offerOf({ envelope, image }: { envelope: Uint8Array; image?: Uint8Array | undefined }) {
  return { envelope: sourceOf(envelope), image: image && sourceOf(image) };
}

export interface PowerOptions {
  /** The slot that runs already. */
  readonly running?: number | undefined;
  readonly cut?: Cut | undefined;
  /** What stands between the unit and its flash. */
  readonly through?: (flash: Flash) => Flash;
  readonly decision?: Decision;
}

/** Puts a unit under power over a store. */
export function power(record: UnitRecord, store: Store, options: PowerOptions = {}): Powered {
  const flash = flashOver(record, store, options.cut);
  const symmetric = record.scheme === 'symmetric';
  const contentKeys = new Map(symmetric ? [[toHex(KEK.id), KEK.key]] : []);
  const macKeys = new Map(record.mac_keys.map(({ id }) => [id, FUZZ_CLASS_KEY.key]));
  const unit = openUnit({
    record,
    macKeys,
    marksKey: MARKS_KEY,
    unwrappers: unwrappersOf(record, { contentKeys, decryptionKey: OWN_KEY.pkcs8 }),
    flash: options.through?.(flash) ?? flash,
    memory: { running: options.running },
    ...(options.decision ? { decision: options.decision } : {}),
  });
  return { unit, flash };
}

function flashOver(record: UnitRecord, store: Store, cut?: Cut): EmulatedFlash {
  const { flashOffset, notesOffset, flash } = unitFileLayout(record.memory);
  const place = { dataOffset: flashOffset, size: flash.size, notesOffset };
  return new EmulatedFlash(store, place, record.memory.flash, { noise: () => 0.5, cut });
}

/** The second slot, its part of the envelope area, the marks, the second area of a radio, and the notes of their pages. */
function freeOf({ memory }: UnitRecord): FlashSpan[] {
  const { flashOffset, notesOffset, notesSize, flash } = unitFileLayout(memory);
  const noteSize = notesSize / (flash.size / memory.flash.erase_page);
  const further = flash.components.map(([, second]) => second);
  return [flash.slots[1], flash.envelopes[1], flash.state, ...further].flatMap(({ offset, size }) => [
    { offset: flashOffset + offset, size },
    { offset: notesOffset + (offset / PAGE) * noteSize, size: (size / PAGE) * noteSize },
  ]);
}

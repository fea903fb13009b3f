/** Hollin Ridge, an invented maker of greenhouse controllers: its keys, its units, and what it seals. Test keys. */
import { concat, fromHex, sourceOf, toHex } from '../../src/bytes/index.ts';
import { type CborValue, encode } from '../../src/cbor/index.ts';
import {
  heldMacKey,
  LABEL,
  type SealParts,
  type Signer,
  sealMac0,
  sealSign1,
  signatureAlgorithm,
} from '../../src/cose/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import { defaultMemoryMap, type SlotShape } from '../../src/image/index.ts';
import {
  classId,
  describeRelease,
  digestOf,
  encodeDigest,
  formatUuid,
  integratedUris,
  type ReleaseFacts,
  vendorId,
  writeEnvelopeHead,
  writeManifest,
} from '../../src/suit/index.ts';
import {
  checkForUnit,
  emptyState,
  SECURITY_VERSION_LABEL,
  type UnitRecord,
  type UnitState,
  type UnitView,
  type Verdict,
} from '../../src/unit/index.ts';
import type { CertificateDescription } from '../../src/x509/index.ts';
import { type TestChain, type TestKey, testChain } from '../x509/support.ts';
import { exampleRecord } from './records.ts';

export const VENDOR = vendorId('hollinridge.example');
export const VENT = classId(VENDOR, 'VC-2');
export const OTHER_CLASS = classId(VENDOR, 'DC-1');
export const DEVICE = fromHex('0b0f5e0a3a0e5b8e9d5f3a2d4d8a1c11');
export const scopeOf = (id: Uint8Array): string => `urn:uuid:${formatUuid(id)}`;

/** Bytes that can be told from others. */
export function imageOf(size: number, seed = 1): Uint8Array {
  return Uint8Array.from({ length: size }, (_, i) => (Math.imul(i + seed, 0x9e3779b1) >>> 13) & 0xff);
}

/** Root, intermediate and signer for class VC-2. */
export function makerChain(
  type: KeyType = 'p256',
  changes: Partial<CertificateDescription> = {},
): Promise<TestChain> {
  return testChain(type, { scopes: [scopeOf(VENT)], ...changes });
}

type KeyType = 'p256' | 'ed25519';

const PROFILES = {
  p256: 'suit-sha256-esp256-ecdh-a128ctr',
  ed25519: 'suit-sha256-ed25519-ecdh-a128ctr',
} as const;

/** A unit of class VC-2 that trusts the chain's root; a production unit unless told otherwise. */
export function unitOf(
  chain: TestChain,
  changes: {
    record?: Partial<UnitRecord>;
    state?: Partial<UnitState>;
    shape?: SlotShape;
    type?: KeyType;
  } = {},
): UnitView {
  const { record: recordChanges, state, shape = 'remapped', type = 'p256' } = changes;
  const { name, spki } = chain.anchor;
  const record = exampleRecord({
    vendor_id: formatUuid(VENDOR),
    class_ids: [formatUuid(VENT)],
    device_id: formatUuid(DEVICE),
    profile: PROFILES[type],
    anchors: [{ name: toHex(name), spki: toHex(spki), label: 'root', purpose: 'release' }],
    memory: defaultMemoryMap({ core: 'none', shape }),
    trial: false,
    ...recordChanges,
  });
  return { record, macKeys: new Map(), state: { ...emptyState(record), ...state } };
}

export const CLASS_KEY = { id: fromHex('c1a55c1a'), key: sha256(fromHex('01')) };
export const COHORT_KEY = { id: fromHex('c040c040'), key: sha256(fromHex('02')) };

/** A unit of the symmetric scheme that holds these keys. */
export function symmetricUnit(keys: readonly { id: Uint8Array; key: Uint8Array }[]): UnitView {
  const record = exampleRecord({
    vendor_id: formatUuid(VENDOR),
    class_ids: [formatUuid(VENT)],
    device_id: formatUuid(DEVICE),
    scheme: 'symmetric',
    profile: 'suit-sha256-hmac-a128kw-a128ctr',
    anchors: [],
    mac_keys: keys.map(({ id, key }) => ({
      id: toHex(id),
      label: 'class key',
      secret: { trial_hex: toHex(key) },
    })),
    memory: defaultMemoryMap({ core: 'none' }),
  });
  return {
    record,
    macKeys: new Map(keys.map(({ id, key }) => [toHex(id), key])),
    state: emptyState(record),
  };
}

export function signerOf(key: TestKey, type: KeyType = 'p256'): Signer {
  const algorithm = signatureAlgorithm(type === 'p256' ? -9 : -19)!;
  return { algorithm, publicKey: key.spki, sign: key.sign };
}

/** What a seal is put on. */
export type Sealing = (digest: Uint8Array) => Promise<Uint8Array[]>;

/** COSE_X509: one certificate as a byte string, more as an array (RFC 9360 section 2). */
export function x5chain(...certificates: readonly Uint8Array[]): CborValue {
  return certificates.length === 1 ? certificates[0]! : [...certificates];
}

/** One COSE_Sign1 by the chain's signer: x5t protected, x5chain unprotected. */
export function signedBy(
  chain: TestChain,
  changes: Partial<SealParts> = {},
  type: KeyType = 'p256',
): Sealing {
  const { signer, intermediate, keys } = chain;
  return async (payload) => [
    await sealSign1(signerOf(keys.signer, type), {
      payload,
      protectedHeaders: [[LABEL.x5t, [-16, sha256(signer.der)]]],
      unprotectedHeaders: [[LABEL.x5chain, x5chain(signer.der, intermediate.der)]],
      ...changes,
    }),
  ];
}

/** As `signedBy`, with a security version in the protected header. */
export function signedAt(chain: TestChain, securityVersion: CborValue): Sealing {
  return signedBy(chain, {
    protectedHeaders: [
      [LABEL.x5t, [-16, sha256(chain.signer.der)]],
      [SECURITY_VERSION_LABEL, securityVersion],
    ],
  });
}

/** One COSE_Mac0 for each key. */
export function macedWith(...keys: readonly { id: Uint8Array; key: Uint8Array }[]): Sealing {
  return (payload) => Promise.all(keys.map(({ id, key }) => sealMac0(heldMacKey(id, key), { payload })));
}

export interface EnvelopeParts {
  readonly manifest: Uint8Array;
  readonly severed?: ReadonlyMap<number, Uint8Array>;
  readonly integrated?: readonly { readonly key: string; readonly bytes: Uint8Array }[];
  readonly seal: Sealing;
}

/** A whole envelope around a manifest. */
export async function envelopeOf({
  manifest,
  severed,
  integrated = [],
  seal,
}: EnvelopeParts): Promise<Uint8Array> {
  const digest = encodeDigest(digestOf(encode(manifest)));
  const pieces = writeEnvelopeHead({
    digest,
    blocks: await seal(digest),
    manifest,
    severed: severed ?? new Map(),
    integrated: integrated.map(({ key, bytes }) => ({ key, length: bytes.length })),
  });
  return concat(...pieces.flatMap((piece, i) => [piece, integrated[i]?.bytes ?? new Uint8Array()]));
}

export interface Release {
  readonly envelope: Uint8Array;
  readonly images: readonly Uint8Array[];
  readonly manifestDigest: Uint8Array;
}

/** What a release is made of; sound and integrated by default. */
export interface ReleaseOptions extends Partial<Omit<ReleaseFacts, 'images'>> {
  readonly images?: readonly Uint8Array[];
  readonly detached?: boolean;
  readonly seal: Sealing;
  /** Payloads that go into the envelope in place of the images. */
  readonly payloads?: readonly Uint8Array[];
}

/** A release of class VC-2 by the templates. */
export async function release(options: ReleaseOptions): Promise<Release> {
  const {
    shape = 'remapped',
    images = [imageOf(5000)],
    detached = false,
    seal,
    payloads = images,
    ...facts
  } = options;
  const uris = detached
    ? images.map((_, i) => `https://depot.hollinridge.example/${i}.bin`)
    : integratedUris(shape);
  const description = describeRelease({
    sequenceNumber: 7,
    vendorId: VENDOR,
    classId: VENT,
    start: true,
    ...facts,
    shape,
    images: images.map((image, i) => ({ digest: sha256(image), sizeBytes: image.length, uri: uris[i]! })),
  });
  const { manifest, severed } = writeManifest(description);
  const integrated = detached ? [] : payloads.map((bytes, i) => ({ key: uris[i]!, bytes }));
  const envelope = await envelopeOf({ manifest, severed, integrated, seal });
  return { envelope, images, manifestDigest: sha256(encode(manifest)) };
}

/** What `unit` says to the envelope. */
export function check(unit: UnitView, envelope: Uint8Array, image?: Uint8Array, now?: Date): Verdict {
  return checkForUnit({ unit, envelope: sourceOf(envelope), image: image && sourceOf(image), now });
}

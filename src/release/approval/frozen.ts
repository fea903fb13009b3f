import {
  CborError,
  type CborItem,
  CborMap,
  type CborMapping,
  type CborValue,
  decode,
  encode,
  lookUp,
} from '../../cbor/index.ts';
import type { ImageDelta, SectionName } from '../../suit/index.ts';
import type { NamedComponent, NamedDependency } from '../parts.ts';

/** One image as a request names it. */
export interface FrozenImage {
  /** SHA-256 over the image, 32 bytes. */
  readonly digest: Uint8Array;
  readonly sizeBytes: number;
  /** Where it is linked for. */
  readonly address: number;
  /** Where units fetch it from, where the request says so. */
  readonly uri: string | undefined;
  /** What makes it out of an image that units run. */
  readonly delta: ImageDelta | undefined;
}

/** An image of a further component. */
export type FrozenComponent = Omit<NamedComponent, 'identifier'>;

/** How images are encrypted, and for whom. */
export interface FrozenEncryption {
  readonly algorithm: string;
  /** units, cohorts or class. */
  readonly kind: string;
  /** The kid of each recipient, in order. */
  readonly keyIds: readonly Uint8Array[];
}

/** Everything that a sealing request fixes (docs/approvals.md). */
export interface FrozenRequest {
  readonly workspace: string;
  readonly counter: string;
  readonly className: string;
  readonly vendorId: Uint8Array;
  readonly classId: Uint8Array;
  readonly deviceId: Uint8Array | undefined;
  readonly version: string;
  readonly sequenceNumber: bigint;
  readonly securityVersion: number;
  readonly images: readonly FrozenImage[];
  readonly components: readonly FrozenComponent[];
  /** Sealed envelopes of other authors. */
  readonly dependencies: readonly NamedDependency[];
  readonly detached: boolean;
  readonly withoutText: boolean;
  readonly description: string | undefined;
  readonly referenceUri: string | undefined;
  readonly signers: readonly string[];
  readonly encryption: FrozenEncryption | undefined;
  /** How many people must approve. */
  readonly approvals: number;
  /** The manifest of the image as it is; where the image is encrypted, what is sealed differs from it in that alone. */
  readonly manifest: Uint8Array;
  /** Severed parts by their key in the envelope. */
  readonly severed: ReadonlyMap<number, Uint8Array>;
}

/** Why bytes are no sealing request. */
export class FrozenError extends Error {
  override readonly name = 'FrozenError';
}

const FORMAT = 'fieldseal.sealing-request/1';
const KEY = {
  format: 1,
  workspace: 2,
  counter: 3,
  className: 4,
  vendorId: 5,
  classId: 6,
  deviceId: 7,
  version: 8,
  sequenceNumber: 9,
  securityVersion: 10,
  images: 11,
  detached: 12,
  withoutText: 13,
  description: 14,
  referenceUri: 15,
  signers: 16,
  encryption: 17,
  approvals: 18,
  manifest: 19,
  severed: 20,
  components: 21,
  dependencies: 22,
} as const;
const IMAGE_FIELDS = 5;
const DELTA_FIELDS = 6;
const COMPONENT_FIELDS = 4;
const DEPENDENCY_FIELDS = 4;
const ENCRYPTION_FIELDS = 3;

/** The one encoding of a request: deterministic CBOR (RFC 8949 section 4.2.1), every key present. */
export function encodeFrozen(request: FrozenRequest): Uint8Array {
  const { encryption, images, severed, signers } = request;
  const values: Record<keyof typeof KEY, CborValue> = {
    format: FORMAT,
    workspace: request.workspace,
    counter: request.counter,
    className: request.className,
    vendorId: request.vendorId,
    classId: request.classId,
    deviceId: request.deviceId ?? null,
    version: request.version,
    sequenceNumber: request.sequenceNumber,
    securityVersion: request.securityVersion,
    images: images.map(({ digest, sizeBytes, address, uri, delta }) => [
      digest,
      sizeBytes,
      address,
      uri ?? null,
      delta ? deltaValue(delta) : null,
    ]),
    detached: request.detached,
    withoutText: request.withoutText,
    description: request.description ?? null,
    referenceUri: request.referenceUri ?? null,
    signers: [...signers],
    encryption: encryption ? [encryption.algorithm, encryption.kind, [...encryption.keyIds]] : null,
    approvals: request.approvals,
    manifest: request.manifest,
    severed: new CborMap(severed),
    components: request.components.map(({ name, digest, sizeBytes, started }) => [
      name,
      digest,
      sizeBytes,
      started,
    ]),
    dependencies: request.dependencies.map(({ name, digest, fileDigest, sections }) => [
      name,
      digest,
      fileDigest,
      [...sections],
    ]),
  };
  return encode(
    new CborMap(Object.entries(KEY).map(([name, key]) => [key, values[name as keyof typeof KEY]])),
  );
}

/** Reads a request back; throws `FrozenError` for anything that `encodeFrozen` does not write. */
export function decodeFrozen(bytes: Uint8Array): FrozenRequest {
  const map = mapOf(bytes);
  if (map.entries.length !== Object.keys(KEY).length) throw fault('it has other fields');
  const at = (name: keyof typeof KEY): CborItem => {
    const item = lookUp(map, KEY[name]);
    if (!item) throw fault(`it has no ${name}`);
    return item;
  };
  if (textOf(at('format')) !== FORMAT) throw fault(`it is not ${FORMAT}`);
  return {
    workspace: textOf(at('workspace')),
    counter: textOf(at('counter')),
    className: textOf(at('className')),
    vendorId: bytesOf(at('vendorId')),
    classId: bytesOf(at('classId')),
    deviceId: optional(at('deviceId'), bytesOf),
    version: textOf(at('version')),
    sequenceNumber: BigInt(numberOf(at('sequenceNumber'))),
    securityVersion: smallOf(at('securityVersion')),
    images: listOf(at('images')).map(imageOf),
    detached: switchOf(at('detached')),
    withoutText: switchOf(at('withoutText')),
    description: optional(at('description'), textOf),
    referenceUri: optional(at('referenceUri'), textOf),
    signers: listOf(at('signers')).map(textOf),
    encryption: optional(at('encryption'), encryptionOf),
    approvals: smallOf(at('approvals')),
    manifest: bytesOf(at('manifest')),
    severed: severedOf(at('severed')),
    components: listOf(at('components')).map(componentOf),
    dependencies: listOf(at('dependencies')).map(dependencyOf),
  };
}

function mapOf(bytes: Uint8Array): CborMapping {
  try {
    const item = decode(bytes);
    if (item.type === 'map') return item;
  } catch (error) {
    if (!(error instanceof CborError)) throw error;
    throw fault(error.message);
  }
  throw fault('it is no map');
}

function imageOf(item: CborItem): FrozenImage {
  const [digest, size, address, uri, delta] = listOf(item, IMAGE_FIELDS);
  return {
    digest: bytesOf(digest!),
    sizeBytes: smallOf(size!),
    address: smallOf(address!),
    uri: optional(uri!, textOf),
    delta: optional(delta!, deltaOf),
  };
}

function deltaValue({ uri, digest, sizeBytes, windowBytes, precursor }: ImageDelta): CborValue {
  return [uri, digest, sizeBytes, windowBytes, precursor.digest, precursor.sizeBytes];
}

function deltaOf(item: CborItem): ImageDelta {
  const [uri, digest, size, window, from, fromSize] = listOf(item, DELTA_FIELDS);
  return {
    uri: textOf(uri!),
    digest: bytesOf(digest!),
    sizeBytes: smallOf(size!),
    windowBytes: smallOf(window!),
    precursor: { digest: bytesOf(from!), sizeBytes: smallOf(fromSize!) },
  };
}

function componentOf(item: CborItem): FrozenComponent {
  const [name, digest, size, started] = listOf(item, COMPONENT_FIELDS);
  return {
    name: textOf(name!),
    digest: bytesOf(digest!),
    sizeBytes: smallOf(size!),
    started: switchOf(started!),
  };
}

function dependencyOf(item: CborItem): NamedDependency {
  const [name, digest, fileDigest, sections] = listOf(item, DEPENDENCY_FIELDS);
  return {
    name: textOf(name!),
    digest: bytesOf(digest!),
    fileDigest: bytesOf(fileDigest!),
    sections: listOf(sections!).map((section) => textOf(section) as SectionName),
  };
}

function encryptionOf(item: CborItem): FrozenEncryption {
  const [algorithm, kind, keyIds] = listOf(item, ENCRYPTION_FIELDS);
  return { algorithm: textOf(algorithm!), kind: textOf(kind!), keyIds: listOf(keyIds!).map(bytesOf) };
}

function severedOf(item: CborItem): Map<number, Uint8Array> {
  if (item.type !== 'map') throw fault('its severed parts are no map');
  return new Map(item.entries.map(({ key, value }) => [smallOf(key), bytesOf(value)]));
}

function optional<T>(item: CborItem, read: (item: CborItem) => T): T | undefined {
  return item.type === 'simple' && item.value === null ? undefined : read(item);
}

function textOf(item: CborItem): string {
  if (item.type === 'text') return item.value;
  throw fault(`byte ${item.start} is no text`);
}

function bytesOf(item: CborItem): Uint8Array {
  if (item.type === 'bytes') return item.value;
  throw fault(`byte ${item.start} is no byte string`);
}

function numberOf(item: CborItem): number | bigint {
  if (item.type === 'uint') return item.value;
  throw fault(`byte ${item.start} is no whole number`);
}

function smallOf(item: CborItem): number {
  const value = numberOf(item);
  if (typeof value === 'number') return value;
  throw fault(`the number at byte ${item.start} is too large`);
}

function switchOf(item: CborItem): boolean {
  if (item.type === 'simple' && typeof item.value === 'boolean') return item.value;
  throw fault(`byte ${item.start} is neither true nor false`);
}

function listOf(item: CborItem, length?: number): readonly CborItem[] {
  if (item.type === 'array' && (length === undefined || item.items.length === length)) return item.items;
  throw fault(`byte ${item.start} is no list${length === undefined ? '' : ` of ${length}`}`);
}

function fault(says: string): FrozenError {
  return new FrozenError(says);
}

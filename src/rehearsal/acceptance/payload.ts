import { type ByteSource, concat, toHex } from '../../bytes/index.ts';
import { type CborItem, decode } from '../../cbor/index.ts';
import { type CoseMessage, decodeCose, type Headers, LABEL } from '../../cose/index.ts';
import { type Envelope, openEnvelope, POLICY_COMPONENT } from '../../suit/index.ts';
import { readSecurityVersion } from '../../unit/index.ts';
import { type Certificate, fingerprint, parseCertificate } from '../../x509/index.ts';

/**
 * What a unit's check can compare its own facts with, taken out of a payload before anybody judged it. Where a part
 * cannot be read it is undefined: then facts are told apart as they are, which is always right and only slower.
 */
export interface Comparands {
  readonly sequenceNumber: bigint | undefined;
  /** Lower-case hexadecimal. */
  readonly manifestDigest: string | undefined;
  /** Floors from which on the answer may change: above what seals state, and at what a policy states. Ascending, as below. */
  readonly securityFloors: readonly number[] | undefined;
  readonly generations: readonly number[] | undefined;
  /** Fingerprints of all keys that certificates came with, lower-case hexadecimal. */
  readonly signerKeys: readonly string[] | undefined;
  /** Every whole number in the manifest, and each a little higher, as tags make a ciphertext longer than its image. */
  readonly sizes: readonly number[] | undefined;
  /** Bytes of the envelope without the images inside it: no unit keeps more. */
  readonly envelopeSize: number;
  /** Whether it may be for single units only: some parameter names a device. */
  readonly namesDevices: boolean;
  /** Whether it may be encrypted: some parameter holds an encryption info. */
  readonly encrypted: boolean;
  /** Manifest digests of releases whose images are at hand, so that a delta can be compared with what runs. */
  readonly running: ReadonlySet<string>;
  /** Whether these bytes, lower-case hexadecimal, stand anywhere outside the images. */
  mentions(hex: string): boolean;
}

/** Longest tag that a content algorithm adds. */
const TAG = 16;
const SEQUENCE_NUMBER = 2;
/** The component of trust updates, whose policy units compare their floors with. */
const POLICY = toHex(POLICY_COMPONENT[0]!);
/** Parameters device identifier and encryption info. */
const DEVICE = 24;
const ENCRYPTION = 19;

/** Reads what an envelope's checks compare with. Never throws on data: what it cannot read it leaves out. */
export function comparandsOf(source: ByteSource, running: ReadonlySet<string> = new Set()): Comparands {
  const envelope = attempt(() => openEnvelope(source));
  if (!envelope) return UNREADABLE(source.size, running);
  const manifest = attempt(() => decode(envelope.manifest));
  const seals = attempt(() => envelope.blocks.map(({ bytes }) => decodeCose(bytes)).flatMap(headersOf));
  const certificates = seals?.flatMap(certificatesIn);
  const parts = [...envelope.severed.values()].map(({ content }) => content);
  const all = manifest && [manifest, ...parts.flatMap(itemsIn)];
  const sizes = all && ascending(all.flatMap(numbersIn));
  const mentions = mentionsIn(bytesOutsideImages(envelope, parts));
  const inside = [...envelope.integrated.values()].reduce((sum, { length }) => sum + length, 0);
  return {
    sequenceNumber: manifest && sequenceNumberIn(manifest),
    manifestDigest: toHex(envelope.digest.bytes),
    securityFloors:
      seals &&
      sizes &&
      ascending([
        ...seals.map((headers) => (readSecurityVersion(headers) ?? 0) + 1),
        ...(mentions(POLICY) ? sizes : []),
      ]),
    generations: certificates && ascending(certificates.map(({ generation }) => generation ?? 0)),
    signerKeys: certificates && [...new Set(certificates.map(({ spki }) => fingerprint(spki)))],
    sizes,
    envelopeSize: source.size - inside,
    namesDevices: !all || all.some((item) => sets(item, DEVICE)),
    encrypted: !all || all.some((item) => sets(item, ENCRYPTION)),
    running,
    mentions,
  };
}

const UNREADABLE = (envelopeSize: number, running: ReadonlySet<string>): Comparands => ({
  sequenceNumber: undefined,
  manifestDigest: undefined,
  securityFloors: undefined,
  generations: undefined,
  signerKeys: undefined,
  sizes: undefined,
  envelopeSize,
  namesDevices: true,
  encrypted: true,
  running,
  mentions: () => true,
});

/** Whoever reads a stranger's bytes only to group by them takes any fault for an answer: the check itself will name it. */
function attempt<T>(action: () => T): T | undefined {
  try {
    return action();
  } catch {
    return undefined;
  }
}

function headersOf(message: CoseMessage): Headers[] {
  return message.kind === 'sign' ? message.signers.map(({ headers }) => headers) : [message.headers];
}

/** A certificate that cannot be read ends the judgement of its signature before anything of the unit is compared. */
function certificatesIn(headers: Headers): Certificate[] {
  const chain = headers.get(LABEL.x5chain);
  const items = chain?.type === 'array' ? chain.items : chain ? [chain] : [];
  return items.flatMap((item) => {
    const certificate = item.type === 'bytes' ? attempt(() => parseCertificate(item.value)) : undefined;
    return certificate ? [certificate] : [];
  });
}

function sequenceNumberIn(manifest: CborItem): bigint | undefined {
  if (manifest.type !== 'map') return undefined;
  const entry = manifest.entries.find(({ key }) => key.type === 'uint' && key.value === SEQUENCE_NUMBER);
  return entry?.value.type === 'uint' ? BigInt(entry.value.value) : undefined;
}

function itemsIn(bytes: Uint8Array): CborItem[] {
  const item = attempt(() => decode(bytes));
  return item ? [item] : [];
}

/** Every whole number in an item and in the CBOR inside its byte strings, with room for a tag. */
function numbersIn(item: CborItem): number[] {
  switch (item.type) {
    case 'uint':
      return typeof item.value === 'number' ? [item.value, item.value + TAG] : [];
    case 'bytes':
      return itemsIn(item.value).flatMap(numbersIn);
    case 'array':
      return item.items.flatMap(numbersIn);
    case 'map':
      return item.entries.flatMap(({ value }) => numbersIn(value));
    case 'tag':
      return numbersIn(item.item);
    default:
      return [];
  }
}

/** Whether some map in an item, or in the CBOR inside its byte strings, has bytes under a key. */
function sets(item: CborItem, key: number): boolean {
  const under = (inner: CborItem) => sets(inner, key);
  switch (item.type) {
    case 'bytes':
      return itemsIn(item.value).some(under);
    case 'array':
      return item.items.some(under);
    case 'map':
      return item.entries.some(
        ({ key: own, value }) =>
          (own.type === 'uint' && own.value === key && value.type === 'bytes') || under(value),
      );
    case 'tag':
      return under(item.item);
    default:
      return false;
  }
}

function bytesOutsideImages({ manifest, blocks }: Envelope, parts: readonly Uint8Array[]): Uint8Array {
  return concat(manifest, ...parts, ...blocks.map(({ bytes }) => bytes));
}

/** Looks bytes up in a set of all stretches of their length, made when that length is first asked for. */
function mentionsIn(bytes: Uint8Array): (hex: string) => boolean {
  const text = toHex(bytes);
  const stretches = new Map<number, ReadonlySet<string>>();
  return (hex) => {
    const known = stretches.get(hex.length) ?? stretchesOf(text, hex.length);
    stretches.set(hex.length, known);
    return known.has(hex);
  };
}

function stretchesOf(text: string, length: number): ReadonlySet<string> {
  const all = new Set<string>();
  for (let at = 0; at + length <= text.length; at += 2) all.add(text.slice(at, at + length));
  return all;
}

function ascending(numbers: readonly number[]): number[] {
  return [...new Set(numbers)].toSorted((a, b) => a - b);
}

import { type CborItem, CborMap, type CborMapping, decode, encode, lookUp } from '../../cbor/index.ts';
import { AnnouncementFault } from './fault.ts';

/** A file that is offered: what it is, how long it is, and where it may be fetched. */
export interface OfferedFile {
  /** SHA-256 of its bytes, 32 bytes. It is what is believed; the address is only where to look. */
  readonly digest: Uint8Array;
  readonly size: number;
  /** Absolute, or relative to where the announcement came from. */
  readonly uri: string;
}

/** A release that is offered. */
export interface Offer {
  /** Digest of its manifest, 32 bytes: an envelope with another manifest is not what was announced. */
  readonly manifestDigest: Uint8Array;
  readonly sequenceNumber: bigint;
  readonly envelope: OfferedFile;
  /** Images that lie beside the envelope. */
  readonly images: readonly OfferedFile[];
}

/** Which units an offer is for: a share of them, drawn by lot, or by name. */
export type Reach =
  | {
      readonly kind: 'share' /** Of a thousand. */;
      readonly permille: number /** 16 bytes. */;
      readonly lot: Uint8Array;
    }
  | {
      readonly kind: 'units' /** Device identifiers, 16 bytes each, ascending. */;
      readonly units: readonly Uint8Array[];
    };

/** What units of a class are told. */
export interface Announcement {
  /** 16 bytes. */
  readonly classId: Uint8Array;
  /** One series for each class, each number once; units take none that is not above the last they heard. */
  readonly counter: bigint;
  /** Seconds since 1970. Not before: only for units with a clock. */
  readonly notBefore: bigint;
  /** Seconds since 1970. From then on, silence is a sign that announcements are withheld. */
  readonly expiry: bigint;
  readonly wave: string;
  readonly reach: Reach;
  /** Null: nothing is offered now; the announcement is a sign of life, and takes an offer back. */
  readonly offer: Offer | null;
}

/** Bounds of what is read; units have little memory. */
export const ANNOUNCEMENT_LIMITS = { bytes: 16_384, images: 8, units: 256, uri: 512, wave: 64 } as const;
/** Most bytes of a whole message, with its certificates. */
export const LARGEST_ANNOUNCEMENT = ANNOUNCEMENT_LIMITS.bytes * 2;

const VERSION = 1;
const KEY = {
  version: 1,
  classId: 2,
  counter: 3,
  notBefore: 4,
  expiry: 5,
  wave: 6,
  reach: 7,
  offer: 8,
} as const;
const OFFER = { manifestDigest: 1, sequenceNumber: 2, envelope: 3, images: 4 } as const;
const FILE = { digest: 1, size: 2, uri: 3 } as const;
const REACH = { permille: 1, lot: 2, units: 3 } as const;
const DIGEST_LENGTH = 32;
const ID_LENGTH = 16;
const WHOLE = 1000;

/** The payload in deterministic CBOR (docs/announcements.md has its CDDL). */
export function encodeAnnouncement(announcement: Announcement): Uint8Array {
  const { classId, counter, notBefore, expiry, wave, reach, offer } = announcement;
  return encode(
    new CborMap([
      [KEY.version, VERSION],
      [KEY.classId, classId],
      [KEY.counter, counter],
      [KEY.notBefore, notBefore],
      [KEY.expiry, expiry],
      [KEY.wave, wave],
      [KEY.reach, encodeReach(reach)],
      [KEY.offer, offer && encodeOffer(offer)],
    ]),
  );
}

function encodeReach(reach: Reach): CborMap {
  return reach.kind === 'share'
    ? new CborMap([
        [REACH.permille, reach.permille],
        [REACH.lot, reach.lot],
      ])
    : new CborMap([[REACH.units, [...reach.units]]]);
}

function encodeOffer({ manifestDigest, sequenceNumber, envelope, images }: Offer): CborMap {
  return new CborMap([
    [OFFER.manifestDigest, manifestDigest],
    [OFFER.sequenceNumber, sequenceNumber],
    [OFFER.envelope, encodeFile(envelope)],
    [OFFER.images, images.map(encodeFile)],
  ]);
}

function encodeFile({ digest, size, uri }: OfferedFile): CborMap {
  return new CborMap([
    [FILE.digest, digest],
    [FILE.size, size],
    [FILE.uri, uri],
  ]);
}

/** Reads a payload. Unknown fields are a fault: what a unit does not know it must not act on. Throws `AnnouncementFault`, `CborError`. */
export function readAnnouncement(bytes: Uint8Array): Announcement {
  if (bytes.length > ANNOUNCEMENT_LIMITS.bytes) throw new AnnouncementFault('it is too long', 0);
  const map = mapOf(decode(bytes), KEY, 'announcement');
  if (number(map, KEY.version) !== VERSION) throw new AnnouncementFault('it is of another version', 0);
  const offer = field(map, KEY.offer);
  const announcement = {
    classId: fixed(field(map, KEY.classId), ID_LENGTH),
    counter: whole(field(map, KEY.counter)),
    notBefore: whole(field(map, KEY.notBefore)),
    expiry: whole(field(map, KEY.expiry)),
    wave: text(field(map, KEY.wave), ANNOUNCEMENT_LIMITS.wave),
    reach: readReach(field(map, KEY.reach)),
    offer: offer.type === 'simple' && offer.value === null ? null : readOffer(offer),
  };
  if (announcement.expiry <= announcement.notBefore)
    throw new AnnouncementFault('it expires before it begins', field(map, KEY.expiry).start);
  return announcement;
}

function readReach(item: CborItem): Reach {
  const isShare = item.type === 'map' && lookUp(item, REACH.permille) !== undefined;
  const { permille, lot, units } = REACH;
  if (!isShare) return { kind: 'units', units: readUnits(field(mapOf(item, { units }, 'reach'), units)) };
  const map = mapOf(item, { permille, lot }, 'reach');
  const share = number(map, permille);
  if (share > WHOLE) throw new AnnouncementFault('a share is at most 1000 of a thousand', item.start);
  return { kind: 'share', permille: share, lot: fixed(field(map, lot), ID_LENGTH) };
}

function readUnits(item: CborItem): Uint8Array[] {
  const units = list(item, ANNOUNCEMENT_LIMITS.units).map((each) => fixed(each, ID_LENGTH));
  const ascending = units.every((unit, i) => i === 0 || Buffer.compare(units[i - 1]!, unit) < 0);
  if (!ascending) throw new AnnouncementFault('the units are not in ascending order, each once', item.start);
  return units;
}

function readOffer(item: CborItem): Offer {
  const map = mapOf(item, OFFER, 'offer');
  return {
    manifestDigest: fixed(field(map, OFFER.manifestDigest), DIGEST_LENGTH),
    sequenceNumber: whole(field(map, OFFER.sequenceNumber)),
    envelope: readFile(field(map, OFFER.envelope)),
    images: list(field(map, OFFER.images), ANNOUNCEMENT_LIMITS.images).map(readFile),
  };
}

function readFile(item: CborItem): OfferedFile {
  const map = mapOf(item, FILE, 'file');
  return {
    digest: fixed(field(map, FILE.digest), DIGEST_LENGTH),
    size: number(map, FILE.size),
    uri: text(field(map, FILE.uri), ANNOUNCEMENT_LIMITS.uri),
  };
}

function mapOf(item: CborItem, keys: Readonly<Record<string, number>>, what: string): CborMapping {
  if (item.type !== 'map') throw new AnnouncementFault(`the ${what} is no map`, item.start);
  const known = Object.values(keys);
  const strange = item.entries.find(({ key }) => key.type !== 'uint' || !known.includes(Number(key.value)));
  if (strange)
    throw new AnnouncementFault(`the ${what} has a field that is not known here`, strange.key.start);
  return item;
}

function field(map: CborMapping, key: number): CborItem {
  const item = lookUp(map, key);
  if (item) return item;
  throw new AnnouncementFault(`field ${key} is missing`, map.start);
}

function whole(item: CborItem): bigint {
  if (item.type === 'uint') return BigInt(item.value);
  throw new AnnouncementFault('a whole number was expected', item.start);
}

function number(map: CborMapping, key: number): number {
  const item = field(map, key);
  const value = whole(item);
  if (value <= BigInt(Number.MAX_SAFE_INTEGER)) return Number(value);
  throw new AnnouncementFault('a number is too large', item.start);
}

function fixed(item: CborItem, length: number): Uint8Array {
  if (item.type === 'bytes' && item.value.length === length) return item.value;
  throw new AnnouncementFault(`${length} bytes were expected`, item.start);
}

function text(item: CborItem, longest: number): string {
  if (item.type === 'text' && item.value.length <= longest && !/\p{Cc}/u.test(item.value)) return item.value;
  throw new AnnouncementFault(`a text of at most ${longest} characters was expected`, item.start);
}

function list(item: CborItem, most: number): readonly CborItem[] {
  if (item.type === 'array' && item.items.length <= most) return item.items;
  throw new AnnouncementFault(`a list of at most ${most} was expected`, item.start);
}

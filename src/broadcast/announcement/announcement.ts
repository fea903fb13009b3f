import {
  type CborItem,
  CborMap,
  type CborMapping,
  type CborValue,
  decode,
  encode,
  lookUp,
} from '../../cbor/index.ts';
import { AnnouncementFault } from './fault.ts';
import { field, fixed, list, mapOf, number, text, whole } from './items.ts';
import { encodeOffer, type Offer, readOffer } from './offered.ts';
import { encodeReach, type Reach, readReach } from './reach.ts';

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
  /**
   * Releases that a unit takes first while it runs something older, by ascending sequence number, all below that of the
   * offer. Absent where there are none.
   */
  readonly steppingStones?: readonly Offer[];
  /** Name of a condition that a unit must be told is met before it installs. Absent where there is none. */
  readonly condition?: string;
}

/** Bounds of what is read; units have little memory. */
const LIMITS = { bytes: 16_384, wave: 64, steppingStones: 4, condition: 64 } as const;
/** Most bytes of a whole message, with its certificates. */
export const LARGEST_ANNOUNCEMENT = LIMITS.bytes * 2;

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
  steppingStones: 9,
  condition: 10,
} as const;
const ID_LENGTH = 16;

/** The payload in deterministic CBOR (docs/announcements.md has its CDDL). */
export function encodeAnnouncement(announcement: Announcement): Uint8Array {
  const { classId, counter, notBefore, expiry, wave, reach, offer, steppingStones, condition } = announcement;
  const entries: [CborValue, CborValue][] = [
    [KEY.version, VERSION],
    [KEY.classId, classId],
    [KEY.counter, counter],
    [KEY.notBefore, notBefore],
    [KEY.expiry, expiry],
    [KEY.wave, wave],
    [KEY.reach, encodeReach(reach)],
    [KEY.offer, offer && encodeOffer(offer)],
  ];
  if (steppingStones) entries.push([KEY.steppingStones, steppingStones.map(encodeOffer)]);
  if (condition !== undefined) entries.push([KEY.condition, condition]);
  return encode(new CborMap(entries));
}

/** Reads a payload. Unknown fields are a fault: what a unit does not know it must not act on. Throws `AnnouncementFault`, `CborError`. */
export function readAnnouncement(bytes: Uint8Array): Announcement {
  if (bytes.length > LIMITS.bytes) throw new AnnouncementFault('it is too long', 0);
  const map = mapOf(decode(bytes), KEY, 'announcement');
  if (number(map, KEY.version) !== VERSION) throw new AnnouncementFault('it is of another version', 0);
  const announcement = { ...readFrame(map), ...readOffered(map) };
  if (announcement.expiry <= announcement.notBefore)
    throw new AnnouncementFault('it expires before it begins', field(map, KEY.expiry).start);
  return announcement;
}

function readFrame(map: CborMapping) {
  return {
    classId: fixed(field(map, KEY.classId), ID_LENGTH),
    counter: whole(field(map, KEY.counter)),
    notBefore: whole(field(map, KEY.notBefore)),
    expiry: whole(field(map, KEY.expiry)),
    wave: text(field(map, KEY.wave), LIMITS.wave),
    reach: readReach(field(map, KEY.reach)),
  };
}

function readOffered(map: CborMapping): Pick<Announcement, 'offer' | 'steppingStones' | 'condition'> {
  const item = field(map, KEY.offer);
  const offer = item.type === 'simple' && item.value === null ? null : readOffer(item);
  const stones = lookUp(map, KEY.steppingStones);
  const condition = lookUp(map, KEY.condition);
  return {
    offer,
    ...(stones && { steppingStones: readStones(stones, offer) }),
    ...(condition && { condition: text(condition, LIMITS.condition) }),
  };
}

function readStones(item: CborItem, offer: Offer | null): Offer[] {
  const stones = list(item, LIMITS.steppingStones).map(readOffer);
  if (!offer || stones.length === 0) throw new AnnouncementFault('stepping stones lead nowhere', item.start);
  const numbers = [...stones, offer].map(({ sequenceNumber }) => sequenceNumber);
  if (numbers.some((each, i) => i > 0 && each <= numbers[i - 1]!))
    throw new AnnouncementFault('the stepping stones do not rise to the offer', item.start);
  return stones;
}

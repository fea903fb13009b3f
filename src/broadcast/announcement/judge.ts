import { toHex } from '../../bytes/index.ts';
import { CborError } from '../../cbor/index.ts';
import { CoseError, type CoseMessage, decodeCose, LABEL, verifyMac0, verifySign1 } from '../../cose/index.ts';
import { hmacSha256, readPublicKey } from '../../crypto/index.ts';
import { judgeAnnouncer, type UnitView } from '../../unit/index.ts';
import { type Certificate, parseCertificate } from '../../x509/index.ts';
import { type Announcement, LARGEST_ANNOUNCEMENT, readAnnouncement } from './announcement.ts';
import { AnnouncementFault } from './fault.ts';
import { inReach } from './reach.ts';
import { type AnnouncementRefusal, REFUSALS } from './refusals.ts';
import { ANNOUNCEMENT_TYPE, announcementKey } from './seal.ts';

/** What a unit remembers of announcements. */
export interface Heard {
  /** The highest counter it took; 0 before the first. */
  readonly counter: bigint;
}

/** What a unit makes of an announcement. */
export type AnnouncementVerdict =
  | {
      readonly ok: true;
      readonly announcement: Announcement;
      /** Its encoded form, to be kept while it is followed. */
      readonly payload: Uint8Array;
      /** Whether the offer is for this unit now. */
      readonly mine: boolean;
    }
  | {
      readonly ok: false;
      readonly code: AnnouncementRefusal;
      readonly says: string;
      readonly detail: string;
    };

/** A unit, an announcement, and what the unit knows of the time. */
export interface AnnouncementCase {
  readonly unit: UnitView;
  readonly message: Uint8Array;
  readonly heard: Heard;
  /** The time by the unit's clock; undefined where it has none. */
  readonly now?: Date | undefined;
}

class Refused extends Error {
  readonly code: AnnouncementRefusal;
  constructor(code: AnnouncementRefusal, detail: string) {
    super(detail);
    this.code = code;
  }
}

/**
 * Judges an announcement, in this order: form, authority, class, counter, time, reach. It changes nothing and lets nothing
 * in: whatever is fetched for it goes through every check of the unit all the same. Never throws on data.
 */
export function judgeAnnouncement(asked: AnnouncementCase): AnnouncementVerdict {
  try {
    return judge(asked);
  } catch (error) {
    if (!(error instanceof Refused)) throw error;
    return { ok: false, code: error.code, says: REFUSALS[error.code], detail: error.message };
  }
}

function judge({ unit, message, heard, now }: AnnouncementCase): AnnouncementVerdict {
  const { cose, payload } = opened(message);
  if (unit.record.scheme === 'asymmetric') judgeSignature(unit, cose, payload, clockOf(unit, now));
  else judgeMac(unit, cose, payload);
  const announcement = read(payload);
  const { classId, counter, notBefore, expiry } = announcement;
  if (!unit.record.class_ids.includes(uuidText(classId)))
    throw new Refused('class-other', `it is for class ${uuidText(classId)}`);
  if (counter <= heard.counter)
    throw new Refused('counter-old', `its counter is ${counter}, and ${heard.counter} was heard already`);
  const seconds = clockOf(unit, now);
  if (seconds) {
    const at = BigInt(Math.floor(seconds.getTime() / 1000));
    if (at < notBefore) throw new Refused('not-yet', `it begins at ${notBefore}, the clock reads ${at}`);
    if (at >= expiry) throw new Refused('expired', `it ended at ${expiry}, the clock reads ${at}`);
  }
  return {
    ok: true,
    announcement,
    payload,
    mine: announcement.offer !== null && inReach(announcement.reach, unit.record.device_id),
  };
}

function clockOf({ record }: UnitView, now: Date | undefined): Date | undefined {
  return record.clock ? now : undefined;
}

function opened(message: Uint8Array): { cose: CoseMessage; payload: Uint8Array } {
  if (message.length > LARGEST_ANNOUNCEMENT) throw new Refused('malformed', 'it is too long');
  const cose = decoded(message);
  if (cose.kind !== 'sign1' && cose.kind !== 'mac0') throw new Refused('malformed', `it is a ${cose.kind}`);
  const type = cose.headers.protectedGet(LABEL.contentType);
  if (type?.type !== 'text' || type.value !== ANNOUNCEMENT_TYPE)
    throw new Refused('type-other', 'its protected header does not say that it is an announcement');
  if (!cose.payload) throw new Refused('malformed', 'it carries nothing');
  return { cose, payload: cose.payload };
}

function decoded(message: Uint8Array): CoseMessage {
  try {
    return decodeCose(message, { requireTag: true });
  } catch (error) {
    if (error instanceof CoseError || error instanceof CborError)
      throw new Refused('malformed', error.message);
    throw error;
  }
}

function judgeSignature(unit: UnitView, cose: CoseMessage, payload: Uint8Array, at: Date | undefined): void {
  if (cose.kind !== 'sign1') throw new Refused('authority', 'units of this class take signatures');
  const judged = judgeAnnouncer(unit, chainOf(cose), at);
  if (!judged.ok) throw new Refused('authority', `${judged.refusal.code}: ${judged.refusal.says}`);
  const key = readPublicKey(judged.signer.spki);
  const verdict = key && verifySign1(cose, key, payload);
  if (!verdict?.ok) throw new Refused('signature-wrong', verdict?.detail ?? 'the key cannot be read');
}

function chainOf({ headers }: CoseMessage): Certificate[] {
  const item = headers.protectedGet(LABEL.x5chain);
  const items = item?.type === 'array' ? item.items : item ? [item] : [];
  try {
    return items.map((each) => {
      if (each.type !== 'bytes') throw new Refused('malformed', 'its certificates are no byte strings');
      return parseCertificate(each.value);
    });
  } catch (error) {
    if (error instanceof Refused) throw error;
    throw new Refused('malformed', `a certificate cannot be read: ${(error as Error).message}`);
  }
}

function judgeMac({ macKeys }: UnitView, cose: CoseMessage, payload: Uint8Array): void {
  if (cose.kind !== 'mac0') throw new Refused('authority', 'units of this class take MACs');
  const kid = cose.headers.get(LABEL.kid);
  const key = kid?.type === 'bytes' ? macKeys.get(toHex(kid.value)) : undefined;
  if (!key) throw new Refused('authority', 'the unit holds no key of that name');
  const derived = announcementKey((message) => hmacSha256(key, message));
  const verdict = verifyMac0(cose, derived, payload);
  if (!verdict.ok) throw new Refused('signature-wrong', verdict.detail);
}

function read(payload: Uint8Array): Announcement {
  try {
    return readAnnouncement(payload);
  } catch (error) {
    if (error instanceof AnnouncementFault || error instanceof CborError)
      throw new Refused('malformed', `${error.message} (byte ${error.offset})`);
    throw error;
  }
}

function uuidText(id: Uint8Array): string {
  return toHex(id).replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, '$1-$2-$3-$4-$5');
}

import { concat, equal, fromUtf8 } from '../bytes/index.ts';
import { equalInConstantTime, hmacSha256 } from '../crypto/index.ts';
import type { FlashGeometry, MemoryMap } from '../image/index.ts';
import { allAre, roundUp } from './flash.ts';
import {
  EMPTY_SLOT,
  FALLEN_LIMIT,
  type Marks,
  type SlotCondition,
  type SlotMark,
  type TrustMark,
} from './marks.ts';
import type { AnchorPurpose } from './record.ts';

/**
 * One record of the marks journal, byte by byte. Numbers are unsigned and big-endian.
 *
 *     offset  size
 *          0     4  "FSMK"
 *          4     1  version, 1
 *          5     1  number of slots, 2
 *          6     2  position of the record in its bank
 *          8     4  round: how often a bank was begun, the same in all records of a bank
 *         12     8  floor of the sequence number
 *         20     4  floor of the security version
 *         24     4  floor of the signer generation
 *         28     4  progress: erase pages of the filling slot that are complete
 *         32    45  first slot: state (1), sequence number (8), manifest digest (32), envelope length (4)
 *         77    45  second slot
 *        122   132  four times what fell back: manifest digest (32), tries (1); tries 0 where there is none
 *        254     2  zero
 *        256    32  HMAC-SHA-256 (RFC 2104) under the unit's own marks key over "fieldseal marks 1" and bytes 0 to 255
 *        288     -  erased value up to a whole write unit, then three commit marks of one write unit each, with
 *                   every bit programmed, each written after what stands before it
 *
 * States: 0 empty, 1 filling, 2 ready, 3 on trial, 4 kept.
 *
 * Where the unit has a policy area the version is 2, and what the unit took from trust updates follows at 256, under the
 * same HMAC, which then stands at 352:
 *
 *        256     1  half of the policy area that counts, from 1; 0 where no trust update was taken
 *        257     1  rank of the root above its signer: 1 release, 2 spare
 *        258     2  zero
 *        260     4  length of the policy
 *        264    64  SHA-256 of the policy, SHA-256 over the manifest that brought it
 *        328    16  number of the last update under a release root, under a spare root
 *        344     8  zero
 */
const MAGIC = fromUtf8('FSMK');
const SLOTS_OFFSET = 32;
const SLOT_SIZE = 45;
const FALLEN_OFFSET = 122;
const FALLEN_SIZE = 33;
const TRUST_OFFSET = 256;
const TAG_SIZE = 32;
const RANKS: readonly AnchorPurpose[] = ['release', 'spare'];
const CONTEXT = fromUtf8('fieldseal marks 1');
const STATES: readonly SlotCondition[] = ['empty', 'filling', 'ready', 'on trial', 'kept'];

/** Commit marks behind each record. */
export const COMMIT_MARKS = 3;

/** Whether records have room for trust updates: their version. */
export type MarksForm = 1 | 2;
const BODY_SIZES: Readonly<Record<MarksForm, number>> = { 1: 256, 2: 352 };

/** The form of a unit's marks. */
export function formOf({ policy }: MemoryMap): MarksForm {
  return policy ? 2 : 1;
}

/** Where a record stands. Newer is the higher round, then the higher position. */
export interface RecordPlace {
  readonly round: number;
  readonly position: number;
}

/** Sizes of a record on a given flash, in bytes: the sealed part in whole write units, and all of it. */
export function recordSize(
  { write_unit }: FlashGeometry,
  form: MarksForm = 1,
): {
  readonly sealed: number;
  readonly whole: number;
} {
  const sealed = roundUp(BODY_SIZES[form] + TAG_SIZE, write_unit);
  return { sealed, whole: sealed + COMMIT_MARKS * write_unit };
}

/** The sealed part of a record, padded to whole write units. */
export function encodeRecord(
  marks: Marks,
  place: RecordPlace,
  key: Uint8Array,
  geometry: FlashGeometry,
  form: MarksForm = 1,
): Uint8Array {
  const body = new Uint8Array(BODY_SIZES[form]);
  const view = new DataView(body.buffer);
  body.set(MAGIC);
  body[4] = form;
  body[5] = marks.slots.length;
  view.setUint16(6, place.position);
  view.setUint32(8, place.round);
  view.setBigUint64(12, marks.floors.sequenceNumber);
  view.setUint32(20, marks.floors.securityVersion);
  view.setUint32(24, marks.floors.signerGeneration);
  view.setUint32(28, marks.progress);
  for (const [i, slot] of marks.slots.entries()) writeSlot(body, SLOTS_OFFSET + i * SLOT_SIZE, slot);
  for (const [i, { manifestDigest, tries }] of marks.fallen.slice(0, FALLEN_LIMIT).entries()) {
    body.set(manifestDigest, FALLEN_OFFSET + i * FALLEN_SIZE);
    body[FALLEN_OFFSET + i * FALLEN_SIZE + 32] = tries;
  }
  if (form === 2 && marks.trust) writeTrust(body, marks.trust);
  const padding = recordSize(geometry, form).sealed - body.length - TAG_SIZE;
  const erased = new Uint8Array(padding).fill(geometry.erased_value);
  return concat(body, hmacSha256(key, CONTEXT, body), erased);
}

/** The marks of a record that this unit wrote for that position, or undefined. */
export function decodeRecord(
  sealed: Uint8Array,
  position: number,
  key: Uint8Array,
  form: MarksForm = 1,
): { readonly marks: Marks; readonly round: number } | undefined {
  const size = BODY_SIZES[form];
  const body = sealed.subarray(0, size);
  const view = new DataView(body.buffer, body.byteOffset, size);
  const ours = equal(body.subarray(0, 4), MAGIC) && body[4] === form && view.getUint16(6) === position;
  if (!ours) return undefined;
  const tag = hmacSha256(key, CONTEXT, body);
  if (!equalInConstantTime(tag, sealed.subarray(size, size + TAG_SIZE))) return undefined;
  const [first, second] = [0, 1].map((i) => readSlot(body, SLOTS_OFFSET + i * SLOT_SIZE));
  const marks: Marks = {
    slots: [first!, second!],
    progress: view.getUint32(28),
    floors: {
      sequenceNumber: view.getBigUint64(12),
      securityVersion: view.getUint32(20),
      signerGeneration: view.getUint32(24),
    },
    fallen: readFallen(body),
    ...(form === 2 && body[TRUST_OFFSET] !== 0 && { trust: readTrust(body) }),
  };
  return { marks, round: view.getUint32(8) };
}

/** One commit mark: a write unit with every bit programmed. */
export function commitMark({ write_unit, erased_value }: FlashGeometry): Uint8Array {
  return new Uint8Array(write_unit).fill(~erased_value & 0xff);
}

/** Which commit marks stand behind a record's sealed part. */
export function commitMarks(record: Uint8Array, geometry: FlashGeometry, form: MarksForm = 1): boolean[] {
  const { sealed } = recordSize(geometry, form);
  const { write_unit: unit, erased_value: erased } = geometry;
  return Array.from({ length: COMMIT_MARKS }, (_, i) =>
    allAre(record.subarray(sealed + i * unit, sealed + (i + 1) * unit), ~erased & 0xff),
  );
}

function writeSlot(body: Uint8Array, offset: number, slot: SlotMark): void {
  const view = new DataView(body.buffer, body.byteOffset + offset, SLOT_SIZE);
  view.setUint8(0, STATES.indexOf(slot.state));
  view.setBigUint64(1, slot.sequenceNumber);
  body.set(slot.manifestDigest, offset + 9);
  view.setUint32(41, slot.envelopeLength);
}

function readSlot(body: Uint8Array, offset: number): SlotMark {
  const view = new DataView(body.buffer, body.byteOffset + offset, SLOT_SIZE);
  const state = STATES[view.getUint8(0)];
  if (state === undefined || state === 'empty') return EMPTY_SLOT;
  return {
    state,
    sequenceNumber: view.getBigUint64(1),
    manifestDigest: body.slice(offset + 9, offset + 41),
    envelopeLength: view.getUint32(41),
  };
}

function writeTrust(
  body: Uint8Array,
  { half, length, digest, manifestDigest, rank, numbers }: TrustMark,
): void {
  const view = new DataView(body.buffer, body.byteOffset + TRUST_OFFSET);
  view.setUint8(0, half + 1);
  view.setUint8(1, RANKS.indexOf(rank) + 1);
  view.setUint32(4, length);
  body.set(digest, TRUST_OFFSET + 8);
  body.set(manifestDigest, TRUST_OFFSET + 40);
  view.setBigUint64(72, numbers.release);
  view.setBigUint64(80, numbers.spare);
}

function readTrust(body: Uint8Array): TrustMark {
  const view = new DataView(body.buffer, body.byteOffset + TRUST_OFFSET);
  return {
    half: view.getUint8(0) === 1 ? 0 : 1,
    rank: view.getUint8(1) === 1 ? 'release' : 'spare',
    length: view.getUint32(4),
    digest: body.slice(TRUST_OFFSET + 8, TRUST_OFFSET + 40),
    manifestDigest: body.slice(TRUST_OFFSET + 40, TRUST_OFFSET + 72),
    numbers: { release: view.getBigUint64(72), spare: view.getBigUint64(80) },
  };
}

function readFallen(body: Uint8Array): Marks['fallen'] {
  return Array.from({ length: FALLEN_LIMIT }, (_, i) => FALLEN_OFFSET + i * FALLEN_SIZE)
    .map((at) => ({ manifestDigest: body.slice(at, at + 32), tries: body[at + 32]! }))
    .filter(({ tries }) => tries > 0);
}

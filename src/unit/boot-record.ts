import { concat, equal, fromUtf8 } from '../bytes/index.ts';
import { equalInConstantTime, hmacSha256 } from '../crypto/index.ts';
import type { FlashGeometry } from '../image/index.ts';
import { allAre, roundUp } from './flash.ts';
import type { RunningImage } from './life-board.ts';

/**
 * One record of the boot log, byte by byte. Numbers are unsigned and big-endian.
 *
 *     offset  size
 *          0     4  "FSBT"
 *          4     1  version, 1
 *          5     1  kind: 1 a start, 2 a self-check that found a change
 *          6     1  what runs from then on: 0 nothing, 1 and 2 the slots in the order of the map, 3 the recovery image
 *          7     1  its state: 0 none, 1 on trial, 2 kept, 3 recovery
 *          8     4  round: how often a bank was begun, the same in all records of a bank
 *         12     4  starts so far, this one included
 *         16     8  sequence number of what runs; 0 where it has none
 *         24    32  SHA-256 of the image as it was verified; zero where nothing runs
 *         56    16  boot seed
 *         72    64  twice what failed, as ASCII text, padded with zero
 *        136    24  zero
 *        160    32  HMAC-SHA-256 under the unit's own marks key over "fieldseal boot 1" and bytes 0 to 159
 *        192     -  erased value up to a whole write unit, then three commit marks of one write unit each, with every bit
 *                   programmed, each written after what stands before it
 */
const MAGIC = fromUtf8('FSBT');
const VERSION = 1;
const BODY_SIZE = 160;
const SEALED_SIZE = BODY_SIZE + 32;
const CONTEXT = fromUtf8('fieldseal boot 1');
const FAILURES_OFFSET = 72;
const FAILURE_SIZE = 32;
const FAILURES = 2;
const KINDS = [undefined, 'start', 'self-check'] as const;
const RUNNING: readonly (RunningImage | undefined)[] = [undefined, 0, 1, 'recovery'];
const STATES = ['none', 'on trial', 'kept', 'recovery'] as const;

/** Commit marks behind each record. */
export const BOOT_COMMITS = 3;
/** Bytes of a boot seed. */
export const SEED_SIZE = 16;

/** What a unit writes down of a start, or of a self-check that found a change. */
export interface BootEntry {
  readonly kind: 'start' | 'self-check';
  /** What runs from then on. */
  readonly runs: RunningImage | undefined;
  readonly state: (typeof STATES)[number];
  /** Starts so far, this one included. */
  readonly count: number;
  readonly sequenceNumber: bigint;
  /** SHA-256 of the image as it was verified, 32 bytes; zero where nothing runs. */
  readonly imageDigest: Uint8Array;
  /** 16 bytes. */
  readonly seed: Uint8Array;
  /** Refusals of slots that were passed over, or where code had changed: at most two, of at most 32 ASCII characters. */
  readonly failures: readonly string[];
}

/** A record that was read, and which of its commit marks stand. */
export interface FoundEntry {
  readonly entry: BootEntry;
  readonly round: number;
  readonly certain: boolean;
  readonly firm: boolean;
}

/** Sizes of a record on a given flash, in bytes: the sealed part in whole write units, and all of it. */
export function bootRecordSize({ write_unit }: FlashGeometry): {
  readonly sealed: number;
  readonly whole: number;
} {
  const sealed = roundUp(SEALED_SIZE, write_unit);
  return { sealed, whole: sealed + BOOT_COMMITS * write_unit };
}

/** The sealed part of a record, padded to whole write units. */
export function encodeBoot(
  entry: BootEntry,
  round: number,
  key: Uint8Array,
  geometry: FlashGeometry,
): Uint8Array {
  const body = new Uint8Array(BODY_SIZE);
  const view = new DataView(body.buffer);
  body.set(MAGIC);
  body[4] = VERSION;
  body[5] = KINDS.indexOf(entry.kind);
  body[6] = RUNNING.indexOf(entry.runs);
  body[7] = STATES.indexOf(entry.state);
  view.setUint32(8, round);
  view.setUint32(12, entry.count);
  view.setBigUint64(16, entry.sequenceNumber);
  body.set(entry.imageDigest, 24);
  body.set(entry.seed, 56);
  for (const [i, failure] of entry.failures.slice(0, FAILURES).entries()) {
    body.set(fromUtf8(failure.slice(0, FAILURE_SIZE)), FAILURES_OFFSET + i * FAILURE_SIZE);
  }
  const padding = bootRecordSize(geometry).sealed - SEALED_SIZE;
  const erased = new Uint8Array(padding).fill(geometry.erased_value);
  return concat(body, hmacSha256(key, CONTEXT, body), erased);
}

/**
 * The record that this unit wrote, or undefined: changed, cut short, or another's. `record`: with its commit marks. It counts
 * from its first mark on. `certain`: the first two stand. `firm`: all three do, so the first two read the same for ever.
 */
export function decodeBoot(
  record: Uint8Array,
  key: Uint8Array,
  { write_unit, erased_value }: FlashGeometry,
): FoundEntry | undefined {
  const body = record.subarray(0, BODY_SIZE);
  const marksAt = roundUp(SEALED_SIZE, write_unit);
  const [first, second, third] = Array.from({ length: BOOT_COMMITS }, (_, i) =>
    allAre(record.subarray(marksAt + i * write_unit, marksAt + (i + 1) * write_unit), ~erased_value & 0xff),
  );
  const ours = equal(body.subarray(0, 4), MAGIC) && body[4] === VERSION;
  if (!ours || !first) return undefined;
  const tag = hmacSha256(key, CONTEXT, body);
  if (!equalInConstantTime(tag, record.subarray(BODY_SIZE, SEALED_SIZE))) return undefined;
  const view = new DataView(body.buffer, body.byteOffset, BODY_SIZE);
  const entry: BootEntry = {
    kind: KINDS[body[5]!] ?? 'start',
    runs: RUNNING[body[6]!],
    state: STATES[body[7]!] ?? 'none',
    count: view.getUint32(12),
    sequenceNumber: view.getBigUint64(16),
    imageDigest: body.slice(24, 56),
    seed: body.slice(56, 56 + SEED_SIZE),
    failures: Array.from({ length: FAILURES }, (_, i) => failureAt(body, i)).filter((text) => text !== ''),
  };
  return { entry, round: view.getUint32(8), certain: second!, firm: second! && third! };
}

function failureAt(body: Uint8Array, index: number): string {
  const start = FAILURES_OFFSET + index * FAILURE_SIZE;
  const bytes = body.subarray(start, start + FAILURE_SIZE);
  const end = bytes.indexOf(0);
  return String.fromCharCode(...bytes.subarray(0, end < 0 ? FAILURE_SIZE : end));
}

import { type ByteSource, concat } from '../bytes/index.ts';
import { equalInConstantTime, sha256, startSha256 } from '../crypto/index.ts';
import { codeAreas, type MemoryMap } from '../image/index.ts';
import { allAre } from './flash.ts';
import type { FlashSpan } from './flash-layout.ts';
import type { Board } from './life-board.ts';
import { spanSource } from './slots.ts';
import type { Started } from './start-run.ts';

/** Protected memory of a self-check: what a verified start found, and how far the current round has come. */
export interface SelfCheckMemory {
  /** Bytes of the image at the start of the area; behind it the area is erased. */
  readonly imageSize: number;
  /** SHA-256 as it was verified at the start, 32 bytes. */
  readonly imageDigest: Uint8Array;
  /** SHA-256 of each block of the area, one behind the other; empty where the image is hashed as a whole. */
  readonly blocks: Uint8Array;
  /** Bytes of the area that the current round has been through. */
  readonly position: number;
  /** Rounds that ended without a finding. */
  readonly rounds: number;
  /** Where code had changed, in bytes from the start of the area; undefined while nothing was found. */
  readonly changedAt: number | undefined;
}

const DIGEST_LENGTH = 32;
const FIXED_SIZE = 64;
const NOTHING_FOUND = 0xffffffffffffffffn;

/** The area that runs, as it is checked: everything in it, the erased rest included. */
export function checkedArea({ layout, memory }: Board): FlashSpan | undefined {
  const { running } = memory;
  return typeof running === 'number' ? layout.slots[running] : running && layout.recovery;
}

/**
 * Takes the digests that a self-check goes by, right after the start verified the image. They are taken in one pass with a
 * digest of the whole image: where that is no longer the verified one, or something stands behind it, the check
 * begins with that finding.
 */
export function armSelfCheck(board: Board, started: Started | null): void {
  const rules = board.record.attestation?.self_check;
  const area = checkedArea(board);
  const verified = started?.facts
    ? { size: started.facts.imageSize, digest: started.facts.imageDigest }
    : board.recovery;
  if (!rules || !area || !verified || !started) return;
  const source = spanSource(board.flash, area);
  const taken = takeDigests(source, verified.size, rules.slice_bytes, board.flash.geometry.erased_value);
  const sound = taken.restErased && equalInConstantTime(taken.image, verified.digest);
  board.memory.check = {
    imageSize: verified.size,
    imageDigest: verified.digest,
    blocks: rules.method === 'blocks' ? taken.blocks : new Uint8Array(0),
    position: 0,
    rounds: 0,
    changedAt: sound ? undefined : 0,
  };
}

function takeDigests(source: ByteSource, imageSize: number, block: number, erased: number) {
  const whole = startSha256();
  const blocks: Uint8Array[] = [];
  let restErased = true;
  for (let at = 0; at < source.size; at += block) {
    const bytes = source.read(at, Math.min(block, source.size - at));
    const code = Math.max(0, Math.min(bytes.length, imageSize - at));
    whole.update(bytes.subarray(0, code));
    restErased &&= allAre(bytes.subarray(code), erased);
    blocks.push(sha256(bytes));
  }
  return { image: whole.digest(), blocks: concat(...blocks), restErased };
}

/** Bytes of protected memory that a unit with these rules needs; 0 without a self-check. */
export function selfCheckMemorySize(
  memory: MemoryMap,
  rules: { readonly method: string; readonly slice_bytes: number } | undefined,
): number {
  if (!rules) return 0;
  const largest = Math.max(...codeAreas(memory).map(({ size }) => size));
  const blocks = rules.method === 'blocks' ? Math.ceil(largest / rules.slice_bytes) : 0;
  return FIXED_SIZE + blocks * DIGEST_LENGTH;
}

/**
 * As a unit file keeps it: image size (8), position (8), rounds (8) and where code had changed (8, all bits set for nowhere),
 * image digest (32), then the blocks. An image size of 0 says that no check is armed.
 */
export function encodeSelfCheck(memory: SelfCheckMemory | undefined): Uint8Array {
  const bytes = new Uint8Array(FIXED_SIZE + (memory?.blocks.length ?? 0));
  if (!memory) return bytes;
  const view = new DataView(bytes.buffer);
  view.setBigUint64(0, BigInt(memory.imageSize));
  view.setBigUint64(8, BigInt(memory.position));
  view.setBigUint64(16, BigInt(memory.rounds));
  view.setBigUint64(24, memory.changedAt === undefined ? NOTHING_FOUND : BigInt(memory.changedAt));
  bytes.set(memory.imageDigest, 32);
  bytes.set(memory.blocks, FIXED_SIZE);
  return bytes;
}

/** What `encodeSelfCheck` wrote. */
export function decodeSelfCheck(bytes: Uint8Array): SelfCheckMemory | undefined {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
  const imageSize = Number(view.getBigUint64(0));
  if (imageSize === 0) return undefined;
  const changedAt = view.getBigUint64(24);
  return {
    imageSize,
    imageDigest: bytes.slice(32, FIXED_SIZE),
    blocks: bytes.slice(FIXED_SIZE),
    position: Number(view.getBigUint64(8)),
    rounds: Number(view.getBigUint64(16)),
    changedAt: changedAt === NOTHING_FOUND ? undefined : Number(changedAt),
  };
}

import { type BootEntry, SEED_SIZE } from './boot-record.ts';
import { FlashError } from './flash.ts';
import { type Board, forget } from './life-board.ts';
import { armSelfCheck } from './self-check-memory.ts';
import { type StartResult, start } from './start.ts';

/** The outcome of a start, and what was entered of it. */
export interface BootResult extends StartResult {
  readonly boot: BootEntry;
  /** Whether the entry stands in the boot log; false where the unit keeps none, or its flash takes nothing more. */
  readonly logged: boolean;
}

const NO_DIGEST = new Uint8Array(32);

/**
 * Starts a unit and enters the decision in its boot log before anything is invoked: what was verified, what runs, which
 * start this is, what was passed over and why. A log that takes nothing stops no start. Throws `PowerCut`.
 */
export function boot(board: Board): BootResult {
  const { memory, bootLog, random } = board;
  forget(memory);
  const result = start(board);
  const seed = random(SEED_SIZE);
  const entry = entryOf(board, result, seed);
  memory.boot = { count: bootLog ? entry.count : undefined, seed };
  armSelfCheck(board, result.started);
  return { ...result, boot: entry, logged: enter(board, entry) };
}

/** Enters a record; false where the log does not take it. Throws `PowerCut`. */
export function enter({ bootLog }: Board, entry: BootEntry): boolean {
  if (!bootLog) return false;
  try {
    bootLog.append(entry);
    return true;
  } catch (error) {
    if (error instanceof FlashError) return false;
    throw error;
  }
}

function entryOf(
  { memory, bootLog, recovery }: Board,
  { started, passedOver }: StartResult,
  seed: Uint8Array,
): BootEntry {
  const verified = started?.facts?.imageDigest ?? (started && recovery?.digest);
  return {
    kind: 'start',
    runs: memory.running,
    state: started?.state ?? 'none',
    count: (bootLog?.starts ?? 0) + 1,
    sequenceNumber: started?.facts?.sequenceNumber ?? 0n,
    imageDigest: verified ?? NO_DIGEST,
    seed,
    failures: passedOver.map(({ refusal }) => refusal.code),
  };
}

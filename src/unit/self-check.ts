import { equalInConstantTime, type RunningHash, sha256, startSha256 } from '../crypto/index.ts';
import type { Reaction, SelfCheckRules } from './attestation-rules.ts';
import { type BootResult, boot, enter } from './boot.ts';
import { allAre } from './flash.ts';
import type { FlashSpan } from './flash-layout.ts';
import { type Board, forget } from './life-board.ts';
import { checkedArea, type SelfCheckMemory } from './self-check-memory.ts';

const DIGEST_LENGTH = 32;

/** Code that had changed since the start. */
export interface SelfCheckFinding {
  /** Address of the block, or of the area where the image is hashed as a whole. */
  readonly address: number;
  /** Bytes. */
  readonly length: number;
  readonly reaction: Reaction;
  /** Where the reaction is a restart: what came of it. */
  readonly restart: BootResult | undefined;
  /** Whether it stands in the boot log. */
  readonly logged: boolean;
}

/** What came of some ticks. */
export interface SelfCheckResult {
  /** `off`: the record asks for no check. `not running`: nothing was started, or it was stopped. */
  readonly outcome: 'sound' | 'changed' | 'off' | 'not running';
  readonly rules: SelfCheckRules | undefined;
  /** Ticks that passed. */
  readonly ticks: number;
  /** Bytes that were read. */
  readonly bytesRead: number;
  /** Bytes of the area that the current round has been through, and rounds that ended without a finding. */
  readonly position: number;
  readonly rounds: number;
  /** Ticks of one round. */
  readonly roundTicks: number;
  readonly finding: SelfCheckFinding | undefined;
}

/** The periodic self-check of a unit under power: at most one slice is read at each tick. */
export class SelfCheck {
  readonly #board: Board;
  readonly #rules: SelfCheckRules | undefined;
  /** The image from its start to where the round has come; only for the method `whole`. */
  #running: { readonly hash: RunningHash; readonly position: number } | undefined;

  constructor(board: Board) {
    this.#board = board;
    this.#rules = board.record.attestation?.self_check;
  }

  /** Lets ticks pass, up to a finding; reacts to it. Throws `PowerCut`. */
  run(ticks: number): SelfCheckResult {
    const rules = this.#rules;
    const area = checkedArea(this.#board);
    const { check } = this.#board.memory;
    if (!rules || !area || !check) return idle(rules);
    const slice = rules.slice_bytes;
    let [now, passed, bytesRead] = [check, 0, 0];
    while (passed < ticks && now.changedAt === undefined) {
      const length = Math.min(slice, area.size - now.position);
      now = this.#tick(now, area, length, rules);
      passed += 1;
      bytesRead += length;
    }
    this.#board.memory.check = now;
    const { position, rounds, changedAt } = now;
    const roundTicks = Math.ceil(area.size / slice);
    const common = { rules, ticks: passed, bytesRead, position, rounds, roundTicks };
    if (changedAt === undefined) return { ...common, outcome: 'sound', finding: undefined };
    const whole = rules.method === 'whole';
    const length = whole ? area.size : Math.min(slice, area.size - changedAt);
    return { ...common, outcome: 'changed', finding: this.#react(rules, changedAt, length) };
  }

  #tick(now: SelfCheckMemory, area: FlashSpan, length: number, rules: SelfCheckRules): SelfCheckMemory {
    const bytes = this.#board.flash.read(area.offset + now.position, length);
    const end = now.position + length;
    const same =
      rules.method === 'blocks'
        ? isBlock(now, bytes, now.position / rules.slice_bytes)
        : this.#goOn(now, area, bytes);
    if (!same) return { ...now, changedAt: rules.method === 'blocks' ? now.position : 0 };
    return end < area.size ? { ...now, position: end } : { ...now, position: 0, rounds: now.rounds + 1 };
  }

  /** Hashes on; behind the image there must be nothing. The digest is compared with the slice that ends the image. */
  #goOn(now: SelfCheckMemory, area: FlashSpan, bytes: Uint8Array): boolean {
    const { position, imageSize, imageDigest } = now;
    const code = Math.max(0, Math.min(bytes.length, imageSize - position));
    if (!allAre(bytes.subarray(code), this.#board.flash.geometry.erased_value)) return false;
    if (code === 0) return true;
    const hash = this.#hashUpTo(position, area);
    hash.update(bytes.subarray(0, code));
    this.#running = { hash, position: position + code };
    if (position + code < imageSize) return true;
    this.#running = undefined;
    return equalInConstantTime(hash.digest(), imageDigest);
  }

  /** A hash keeps its inner state in RAM; put under power anew, the emulator hashes once more what had been hashed. */
  #hashUpTo(position: number, area: FlashSpan): RunningHash {
    if (this.#running?.position === position) return this.#running.hash;
    const hash = startSha256();
    hash.update(this.#board.flash.read(area.offset, position));
    return hash;
  }

  #react({ reaction }: SelfCheckRules, changedAt: number, length: number): SelfCheckFinding {
    const board = this.#board;
    const address = addressOf(board, changedAt);
    const logged = this.#enter(address);
    this.#running = undefined;
    if (reaction === 'stop') forget(board.memory);
    const restart = reaction === 'restart' ? boot(board) : undefined;
    return { address, length, reaction, restart, logged };
  }

  #enter(address: number): boolean {
    const board = this.#board;
    const [last] = board.bootLog?.entries ?? [];
    if (!last) return false;
    const failure = `code changed at 0x${address.toString(16)}`;
    const told = last.kind === 'self-check' && last.failures[0] === failure;
    return told || enter(board, { ...last, kind: 'self-check', failures: [failure] });
  }
}

function idle(rules: SelfCheckRules | undefined): SelfCheckResult {
  const nothing = { ticks: 0, bytesRead: 0, position: 0, rounds: 0, roundTicks: 0, finding: undefined };
  return { outcome: rules ? 'not running' : 'off', rules, ...nothing };
}

function isBlock({ blocks }: SelfCheckMemory, bytes: Uint8Array, index: number): boolean {
  const at = index * DIGEST_LENGTH;
  return equalInConstantTime(sha256(bytes), blocks.subarray(at, at + DIGEST_LENGTH));
}

function addressOf({ record, memory }: Board, offset: number): number {
  const { slots, recovery } = record.memory;
  const { running } = memory;
  return (typeof running === 'number' ? slots[running]!.address : recovery!.address) + offset;
}

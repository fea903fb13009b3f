import { AddressCache } from './address-cache.ts';
import {
  ADD,
  COPY,
  codeOf,
  type Instruction,
  LARGEST_ADD_IN_CODE,
  LARGEST_COPY_IN_CODE,
  RUN,
} from './code-table.ts';
import { appendInteger } from './integer.ts';
import type { Range } from './matches.ts';
import type { Step } from './step.ts';
import { VCD_SOURCE } from './window.ts';

/** A step with the code it needs at least; `size` is the one within the code, 0 where it follows. */
interface Coded {
  instruction: Instruction;
  length: number;
}

/** The bytes of one window (RFC 3284 sections 4.2 and 4.3), with a source segment where a step copies from it. */
export function writeWindow(window: Uint8Array, segment: Range, steps: readonly Step[]): Uint8Array {
  const segmentSize = segment.end - segment.start;
  const data: number[] = [];
  const addresses: number[] = [];
  const cache = new AddressCache();
  const coded = steps.map((step) => {
    if (step.type === ADD) appendBytes(data, window, step);
    if (step.type === RUN) data.push(window[step.position]!);
    const mode = step.type === COPY ? writeAddress(step, segmentSize, cache, addresses) : 0;
    return codedStep(step, mode);
  });
  const instructions = writeCodes(coded);
  const encoding: number[] = [];
  appendInteger(encoding, window.length);
  encoding.push(0);
  for (const section of [data, instructions, addresses]) appendInteger(encoding, section.length);
  const head: number[] = segmentSize > 0 ? [VCD_SOURCE] : [0];
  if (segmentSize > 0) {
    appendInteger(head, segmentSize);
    appendInteger(head, segment.start);
  }
  appendInteger(head, encoding.length + data.length + instructions.length + addresses.length);
  return Uint8Array.from([head, encoding, data, instructions, addresses].flat());
}

function appendBytes(data: number[], window: Uint8Array, { position, length }: Step): void {
  for (let at = position; at < position + length; at++) data.push(window[at]!);
}

function writeAddress(
  { address, position }: Step & { type: typeof COPY },
  segmentSize: number,
  cache: AddressCache,
  out: number[],
): number {
  const { mode, value } = cache.encode(address, segmentSize + position);
  cache.update(address);
  if (AddressCache.isSame(mode)) out.push(value);
  else appendInteger(out, value);
  return mode;
}

function codedStep({ type, length }: Step, mode: number): Coded {
  const largest = type === ADD ? LARGEST_ADD_IN_CODE : type === COPY ? LARGEST_COPY_IN_CODE : 0;
  return { instruction: { type, size: length <= largest ? length : 0, mode }, length };
}

/** One code for two steps wherever the table has it, from the front: no other pairing saves more codes. */
function writeCodes(steps: readonly Coded[]): number[] {
  const out: number[] = [];
  for (let at = 0; at < steps.length; at++) {
    const { instruction, length } = steps[at]!;
    const next = steps[at + 1]?.instruction;
    const shared = next && codeOf(instruction, next);
    out.push(shared ?? codeOf(instruction)!);
    if (shared !== undefined) at++;
    else if (instruction.size === 0) appendInteger(out, length);
  }
  return out;
}

import { type ByteSource, sourceOf } from '../bytes/index.ts';
import { ImageError } from './errors.ts';
import { IMAGE_LIMITS } from './limits.ts';
import type { Segment } from './segment.ts';
import { formatAddress, formatSize } from './size.ts';
import { type DataWalker, type RecordWhere, recordsAt } from './text-records.ts';

const MOST_RUNS = IMAGE_LIMITS.runs.value;
const SMALLEST_BUFFER = 32;

/** Consecutive data in the order of the file, in a buffer that doubles as it fills. */
interface Run {
  address: number;
  bytes: Uint8Array;
  length: number;
}

/**
 * Decodes a text format into sorted, merged segments. Throws `ImageError` 'too-large' as soon as there are more
 * than `limit` bytes, 'overlap' where two records give the same address, 'no-data' where none gives any.
 */
export function collectRuns(
  source: ByteSource,
  walk: DataWalker,
  limit: number,
): { segments: Segment[]; size: number; entry: number | undefined } {
  const runs: Run[] = [];
  let size = 0;
  const entry = walk(source, (address, bytes, start, end, where) => {
    size += end - start;
    if (size > limit) throw tooLarge(limit, where, address);
    let run = runs.at(-1);
    if (!run || run.address + run.length !== address) {
      if (runs.length === MOST_RUNS) throw tooScattered(where);
      run = { address, bytes: new Uint8Array(Math.max(SMALLEST_BUFFER, end - start)), length: 0 };
      runs.push(run);
    }
    append(run, bytes, start, end);
  });
  if (size === 0) throw new ImageError('no-data', 'the file is well formed but gives no data');
  runs.sort((a, b) => a.address - b.address);
  requireDisjoint(runs, source, walk);
  return { segments: mergeRuns(runs), size, entry };
}

function tooLarge(limit: number, { line, record }: RecordWhere, address: number): ImageError {
  const says = `the file gives more than ${formatSize(limit)} of data, the most that is of use`;
  return new ImageError('too-large', says, { line, record, address });
}

function tooScattered(where: RecordWhere): ImageError {
  return new ImageError('too-scattered', `more than ${MOST_RUNS} separate pieces of data`, where);
}

/** A record is short, so that copying byte by byte is faster than making a view of it. */
function append(run: Run, bytes: Uint8Array, start: number, end: number): void {
  const length = run.length + end - start;
  if (length > run.bytes.length) {
    const larger = new Uint8Array(2 * length);
    larger.set(run.bytes.subarray(0, run.length));
    run.bytes = larger;
  }
  const target = run.bytes;
  for (let from = start, to = run.length; from < end; ) target[to++] = bytes[from++]!;
  run.length = length;
}

function requireDisjoint(runs: Run[], source: ByteSource, walk: DataWalker): void {
  for (let i = 1; i < runs.length; i++) {
    const { address } = runs[i]!;
    if (runs[i - 1]!.address + runs[i - 1]!.length > address) throw overlapAt(source, walk, address);
  }
}

function overlapAt(source: ByteSource, walk: DataWalker, address: number): ImageError {
  const [first, second] = recordsAt(source, walk, address) as [RecordWhere, RecordWhere];
  const says = `${formatAddress(address)} is given twice, first in line ${first.line}`;
  return new ImageError('overlap', says, { ...second, address });
}

function mergeRuns(runs: Run[]): Segment[] {
  const groups: Run[][] = [];
  let end = -1;
  for (const run of runs) {
    if (run.address === end) groups.at(-1)!.push(run);
    else groups.push([run]);
    end = run.address + run.length;
  }
  return groups.map(joinGroup);
}

function joinGroup(group: Run[]): Segment {
  const { address } = group[0]!;
  if (group.length === 1) {
    const { bytes, length } = group[0]!;
    return { address, length, source: sourceOf(bytes.subarray(0, length)) };
  }
  const length = group.reduce((sum, run) => sum + run.length, 0);
  const bytes = new Uint8Array(length);
  for (const run of group) bytes.set(run.bytes.subarray(0, run.length), run.address - address);
  return { address, length, source: sourceOf(bytes) };
}

import { toHex } from '../bytes/index.ts';
import type { BootEntry, UnitRecord } from '../unit/index.ts';
import type { Output } from './output.ts';

type Names = Pick<UnitRecord, 'memory'>;

/** A record of the boot log, for programs. */
export function bootEntryJson(entry: BootEntry, record: Names): object {
  return {
    kind: entry.kind,
    count: entry.count,
    runs: areaOf(entry, record) ?? null,
    state: entry.state,
    sequence_number: entry.sequenceNumber === 0n ? null : String(entry.sequenceNumber),
    image_digest: entry.runs === undefined ? null : toHex(entry.imageDigest),
    seed: toHex(entry.seed),
    failures: entry.failures,
  };
}

/** A record of the boot log, for people: one line. */
export function showBootEntry(out: Output, entry: BootEntry, record: Names): void {
  const area = areaOf(entry, record);
  const number = entry.sequenceNumber === 0n ? '' : `, sequence number ${entry.sequenceNumber}`;
  const runs = area === undefined ? 'nothing started' : `runs ${area}, ${entry.state}${number}`;
  const text = [entry.kind, runs, ...entry.failures].join('; ');
  out.fact(`start ${entry.count}`, entry.failures.length > 0 ? out.paint.red(text) : text);
}

function areaOf({ runs }: BootEntry, { memory }: Names): string | undefined {
  return typeof runs === 'number' ? memory.slots[runs]!.name : runs;
}

import type { Field } from './field.ts';
import type { FoundBooks, FoundUnit } from './reader.ts';

/** What a trial must have kept to. */
export interface Evidence {
  readonly field: Field;
  readonly units: readonly FoundUnit[];
  readonly books: FoundBooks;
  /** Reports that the server said it has, by SHA-256. */
  readonly acknowledged: ReadonlySet<string>;
  /** Reports that must not count. */
  readonly forged: ReadonlySet<string>;
  /** Which release a unit must run in the end, by its version. */
  expected(serial: string): readonly string[];
}

/** Every promise that was broken, in words; empty where all were kept. */
export function brokenPromises(evidence: Evidence): string[] {
  return [...firmware(evidence), ...books(evidence), ...reports(evidence)];
}

function* firmware({ field, units, expected }: Evidence): Generator<string> {
  const found = new Set(units.map(({ serial }) => serial));
  for (const serial of field.serials) if (!found.has(serial)) yield `unit ${serial}: its file is gone`;
  for (const { serial, runs, state } of units) {
    if (!runs) yield `unit ${serial}: ${state}, and what runs is no image that was sealed`;
    else if (!expected(serial).includes(runs.version))
      yield `unit ${serial}: runs ${runs.version} in the end, and ${expected(serial).join(' or ')} was to be`;
    else if (state !== 'kept') yield `unit ${serial}: ${runs.version} is ${state} in the end`;
  }
}

function* books({ field, units, books }: Evidence): Generator<string> {
  const count = books.units.size;
  if (count !== field.serials.length) yield `the books have ${count} units of ${field.serials.length}`;
  for (const { serial, device, runs } of units) {
    const entry = books.units.get(device);
    if (!entry) yield `unit ${serial}: lost from the books`;
    else if (entry.version !== runs?.version)
      yield `unit ${serial}: the books say ${entry.version}, its flash ${runs?.version}`;
    else if (entry.state !== 'kept' && entry.state !== 'fell-back')
      yield `unit ${serial}: the books say ${entry.state}`;
  }
}

function* reports({ books, acknowledged, forged }: Evidence): Generator<string> {
  for (const id of acknowledged)
    if (!books.reports.has(id)) yield `report ${id.slice(0, 16)} was acknowledged and is not in the books`;
  for (const id of forged)
    if (books.reports.has(id)) yield `report ${id.slice(0, 16)} is no unit's and is in the books`;
}

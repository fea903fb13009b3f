import { createHash } from 'node:crypto';
import type { Field, TrialRelease } from './field.ts';
import type { FoundBooks, FoundBroadcast, FoundUnit } from './reader.ts';

/** What a trial must have kept to. */
export interface Evidence {
  readonly field: Field;
  readonly units: readonly FoundUnit[];
  readonly books: FoundBooks;
  /** Reports that the server said it has, by SHA-256. */
  readonly acknowledged: ReadonlySet<string>;
  /** Reports that must not count. */
  readonly forged: ReadonlySet<string>;
  /** Which release a unit must run in the end. */
  expected(serial: string): TrialRelease;
}

/** Every promise that was broken, in words; empty where all were kept. */
export function brokenPromises(evidence: Evidence): string[] {
  const [good, bad] = evidence.books.broadcasts;
  return [
    ...firmware(evidence),
    ...books(evidence),
    ...reports(evidence),
    ...(good ? inTheirTime(evidence, good) : ['the books have no broadcast']),
    ...(bad ? stopped(evidence, bad) : ['the books have no second broadcast']),
  ];
}

/** Every unit ends with genuine firmware, the new or the old. */
function* firmware({ field, units, expected }: Evidence): Generator<string> {
  const found = new Set(units.map(({ serial }) => serial));
  for (const serial of field.serials) if (!found.has(serial)) yield `unit ${serial}: its file is gone`;
  for (const { serial, runs, state } of units) {
    if (!runs) yield `unit ${serial}: ${state}, and what runs is no image that was sealed`;
    else if (runs !== expected(serial))
      yield `unit ${serial}: runs ${runs.version}, and ${expected(serial).version} was to be`;
    else if (state !== 'kept') yield `unit ${serial}: ${runs.version} is ${state} in the end`;
  }
}

/** None is lost from the books, and they say what the flash says. */
function* books({ field, units, books }: Evidence): Generator<string> {
  const count = books.units.size;
  if (count !== field.serials.length) yield `the books have ${count} units of ${field.serials.length}`;
  for (const { serial, device, runs } of units) {
    const entry = books.units.get(device);
    if (!entry) yield `unit ${serial}: lost from the books`;
    else if (entry.version !== runs?.version)
      yield `unit ${serial}: the books say ${entry.version}, its flash ${runs?.version}`;
  }
}

/** What was acknowledged is there; what no unit signed is not. */
function* reports({ books, acknowledged, forged }: Evidence): Generator<string> {
  for (const id of acknowledged)
    if (!books.reports.has(id)) yield `report ${id.slice(0, 16)} was acknowledged and is not in the books`;
  for (const id of forged)
    if (books.reports.has(id)) yield `report ${id.slice(0, 16)} is no unit's and is in the books`;
}

/** No unit was heard with a release before its own wave was open. */
function* inTheirTime({ books }: Evidence, good: FoundBroadcast): Generator<string> {
  const { release, waves, state } = good;
  const { lot } = good.plan as { lot: string };
  if (state !== 'done') yield `the good release is ${state}, and was to be done`;
  const opened = waves.map(({ openedAt }) => openedAt?.getTime() ?? Number.POSITIVE_INFINITY);
  for (const [i, at] of opened.entries())
    if (i > 0 && at < opened[i - 1]!) yield `wave ${i + 1} was opened before wave ${i}`;
  for (const { device, at, about } of books.reports.values()) {
    if (about !== release.manifestDigest) continue;
    const drawn = drawnAt(lot, device);
    const own = waves.findIndex(({ reach }) => reach.kind === 'share' && drawn < reach.permille);
    if (!(at.getTime() >= opened[own]!))
      yield `unit ${device.slice(0, 8)} had the release before wave ${own + 1}, its own, was open`;
  }
}

/** The lot as docs/announcements.md has it: SHA-256(lot || device), its first four bytes modulo 1000. */
function drawnAt(lot: string, device: string): number {
  return (
    createHash('sha256')
      .update(Buffer.from(lot + device, 'hex'))
      .digest()
      .readUInt32BE(0) % 1000
  );
}

/** A bad release stopped in its pilot, with its reason, and nobody outside ever met it. */
function* stopped({ units, books, field }: Evidence, bad: FoundBroadcast): Generator<string> {
  const [pilot, ...later] = bad.waves;
  if (bad.state !== 'paused') yield `the bad release is ${bad.state}, and was to be stopped`;
  if (pilot?.state !== 'stopped') yield `its pilot is ${pilot?.state}`;
  if (!/fell back/.test(bad.why ?? '')) yield `why it stopped is not told: ${bad.why}`;
  for (const wave of later)
    if (wave.state !== 'planned') yield `wave ${wave.number} of the bad release is ${wave.state}`;
  const met = units.filter((unit) => unit.met.has(bad.release.manifestDigest));
  for (const { serial, device } of met) {
    const wave = books.units.get(device)?.wave;
    if (wave?.broadcast !== bad.id || wave.number !== pilot?.number)
      yield `unit ${serial} met the bad release, and is in wave ${wave?.number}`;
  }
  const pilots = [...books.units.values()].filter(({ wave }) => wave?.number === pilot?.number);
  if (met.length === 0) yield 'no unit met the bad release: nothing was tried';
  if (pilots.length === field.serials.length) yield 'the pilot holds everyone: nothing was tried';
}

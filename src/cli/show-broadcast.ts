import type { JsonObject } from '../workspace/index.ts';
import type { Output } from './output.ts';

/** What `broadcastJson` gives, as far as people are shown it. */
interface Shown {
  readonly class: string;
  readonly broadcast: number;
  readonly release: { readonly version: string; readonly sequence_number: string };
  readonly state: string;
  readonly why: string | null;
  readonly steered_by: string | null;
  readonly condition: string | null;
  readonly stepping_stones: readonly string[];
  readonly waves: readonly Wave[];
  readonly next: { readonly why: string; readonly until: string | null };
}

interface Wave {
  readonly number: number;
  readonly name: string;
  readonly share: number | null;
  readonly named: number;
  readonly state: string;
  readonly why: string | null;
  readonly units: number;
  readonly kept: number;
  readonly on_trial: number;
  readonly late: number;
  readonly refused: number;
  readonly fell_back: number;
  readonly silent: number;
  readonly refusals: readonly { readonly step: string; readonly code: string; readonly units: number }[];
}

const HEADINGS = ['wave', 'reaches', 'state', 'units', 'kept', 'on trial', 'refused', 'fell back', 'silent'];

/** A broadcast for people: how it stands, wave by wave, and what comes next. */
export function showBroadcast(out: Output, json: JsonObject): void {
  const shown = json as unknown as Shown;
  const { release } = shown;
  out.line(
    `broadcast ${shown.broadcast} to class ${shown.class}: version ${release.version}, sequence number ${release.sequence_number}`,
  );
  out.fact('state', shown.why === null ? shown.state : `${shown.state}: ${shown.why}`);
  if (shown.condition !== null) out.fact('only where', shown.condition);
  if (shown.stepping_stones.length > 0) out.fact('by way of', shown.stepping_stones.join(', '));
  out.fact('steered by', shown.steered_by ?? 'nobody now: fieldseal broadcast steer');
  out.fact(
    'next',
    shown.next.until === null ? shown.next.why : `${shown.next.why}, until ${shown.next.until}`,
  );
  const rows = shown.waves.map(cellsOf);
  const widths = HEADINGS.map((heading, i) => Math.max(heading.length, ...rows.map((row) => row[i]!.length)));
  for (const row of [HEADINGS, ...rows])
    out.line(
      `  ${row
        .map((cell, i) => cell.padEnd(widths[i]!))
        .join('  ')
        .trimEnd()}`,
    );
  for (const { name, late } of shown.waves)
    if (late > 0) out.line(`  ${name}: ${late} late: the wave passed, and they did not come to an end yet`);
  for (const { name, refusals } of shown.waves)
    for (const { step, code, units } of refusals) out.line(`  ${name}: ${units} refused at ${step}: ${code}`);
}

function cellsOf(wave: Wave): string[] {
  const { number, name, share, named, state } = wave;
  return [
    `${number} ${name}`,
    share === null ? `${named} by name` : `${share} of 1000`,
    state,
    ...[wave.units, wave.kept, wave.on_trial, wave.refused, wave.fell_back, wave.silent].map(String),
  ];
}

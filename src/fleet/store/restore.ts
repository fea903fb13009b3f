import { BACKUP_FORMAT } from './backup.ts';
import { damaged, type Line, type LineKind, readLines, verifyLines } from './backup-lines.ts';
import { type Core, yieldTurn } from './core.ts';
import { restoreBroadcast, restoreLeft, restoreWave } from './restore-broadcasts.ts';
import { type Head, raiseNumbers } from './restore-numbers.ts';
import { restoreAttestation, restoreEvents, restoreReports, restoreUnits } from './restore-units.ts';
import type { RestoredFacts, SeenNumbers } from './types.ts';

const PIECE = 500;

/**
 * Adds what a backup holds and the store does not: units, reports, broadcasts, events. What is there already stays as it is, reports
 * move their units as ever, and numbers only rise; broadcasts that ran come back paused. In pieces: done again after it was cut short,
 * it ends the same. Throws `FleetError` backup-damaged, backup-foreign.
 */
export async function restoreFrom(core: Core, path: string, seen: SeenNumbers): Promise<RestoredFacts> {
  const sha256 = await verifyLines(path);
  const run: Run = { core, path, seen, made: undefined, ...NOTHING_YET, broadcastsPaused: [] };
  for await (const [kind, lines] of piecesOf(path)) {
    await ADD[kind](run, lines.map(([, facts]) => facts) as never[]);
    await yieldTurn();
  }
  const { made, units, reports, unitsAdded, reportsAdded, broadcastsPaused } = run;
  if (!made) throw damaged(path, 'it has no beginning');
  const text = `backup of ${made.toISOString()}: ${unitsAdded} units and ${reportsAdded} reports were added`;
  await core.write((tx) => tx.note({ kind: 'restored', who: 'restore', text }));
  return { units, reports, unitsAdded, reportsAdded, broadcastsPaused, sha256, made };
}

const NOTHING_YET = { units: 0, reports: 0, unitsAdded: 0, reportsAdded: 0 };

interface Run extends Record<keyof typeof NOTHING_YET, number> {
  readonly core: Core;
  readonly path: string;
  readonly seen: SeenNumbers;
  made: Date | undefined;
  readonly broadcastsPaused: number[];
}

/** How lines of each kind are added. */
const ADD: Readonly<Record<LineKind, (run: Run, facts: never[]) => Promise<void>>> = {
  async head(run, facts) {
    run.made = await begin(run.core, run.path, facts[0]!, run.seen);
  },
  async broadcast({ core, path, broadcastsPaused }, facts) {
    for (const each of facts) {
      const paused = await restoreBroadcast(core, each, path);
      if (paused !== undefined) broadcastsPaused.push(paused);
    }
  },
  async wave({ core }, facts) {
    for (const each of facts) await restoreWave(core, each);
  },
  async left({ core }, facts) {
    for (const each of facts) await restoreLeft(core, each);
  },
  async unit(run, facts) {
    run.units += facts.length;
    run.unitsAdded += await restoreUnits(run.core, facts);
  },
  async report(run, facts) {
    run.reports += facts.length;
    run.reportsAdded += await restoreReports(run.core, facts);
  },
  async attestation({ core }, facts) {
    for (const each of facts) await restoreAttestation(core, each);
  },
  async event({ core }, facts) {
    await restoreEvents(core, facts);
  },
};

async function begin(core: Core, path: string, head: Head, seen: SeenNumbers): Promise<Date> {
  if (head.format !== BACKUP_FORMAT) throw damaged(path, `its format is not ${BACKUP_FORMAT}`);
  await raiseNumbers(core, head, seen);
  return new Date(head.made);
}

/** Lines of one kind together, as they follow each other. */
async function* piecesOf(path: string): AsyncGenerator<readonly [Line[0], Line[]]> {
  let piece: Line[] = [];
  for await (const line of readLines(path)) {
    if (piece.length === PIECE || (piece[0] && piece[0][0] !== line[0])) {
      yield [piece[0]![0], piece];
      piece = [];
    }
    piece.push(line);
  }
  if (piece[0]) yield [piece[0][0], piece];
}

import type { Cell, CellKey } from './cells.ts';
import type { OfferedWave } from './classes.ts';
import type { Ended, Standing } from './standing.ts';
import type { StoredState, UnitRecord } from './tables.ts';
import type { FleetUnit, UnitState } from './types.ts';

const SEQUENCE_DIGITS = 19;

/** A sequence number as it is stored. */
export function sequenceText(sequence: bigint): string {
  return String(sequence).padStart(SEQUENCE_DIGITS, '0');
}

/** A state as it is told: who waits in a wave that was opened, or in none, was reached. */
export function toldState(state: StoredState, wave: OfferedWave | undefined): UnitState {
  return state === 'waiting' && (!wave || wave.opened_at !== null) ? 'reached' : state;
}

/** What the reports of a unit amount to, by its row and cell. */
export function standingOf(row: UnitRecord, cell: Cell): Standing {
  return {
    ended: row.ended_order === null ? undefined : endedOf(row.ended_order, cell),
    runs: row.runs_order === null ? undefined : { order: row.runs_order, ...runsOf(row, cell) },
    heard: row.heard_order === null ? undefined : { order: row.heard_order, at: new Date(row.heard_at) },
  };
}

function endedOf(order: string, { state, step, code }: Cell): Ended {
  const refusal = code === '' ? undefined : { step, code };
  if (state === 'waiting' || state === 'unheard') return { order, state: 'under-way', refusal };
  return { order, state, refusal };
}

/** What a unit runs, as far as is known. */
export function runsOf({ digest, sequence }: UnitRecord, { version }: Cell) {
  return {
    digest: digest ?? undefined,
    sequence: sequence === null ? undefined : BigInt(sequence),
    version: version === '' ? undefined : version,
  };
}

/** The cell in which a unit stands by what its reports amount to, and what it runs. */
export function cellFor(
  place: Pick<CellKey, 'classNo' | 'waveNo'>,
  wave: OfferedWave | undefined,
  ended: Ended | undefined,
  runs: ReturnType<typeof runsOf>,
): CellKey {
  const { step = '', code = '' } = ended?.refusal ?? {};
  return { ...place, state: storedState(wave, ended, runs), version: runs.version ?? '', step, code };
}

function storedState(
  wave: OfferedWave | undefined,
  ended: Ended | undefined,
  runs: ReturnType<typeof runsOf>,
): StoredState {
  if (ended) return ended.state === 'under-way' ? 'waiting' : ended.state;
  if (!wave) return 'unheard';
  return isThere(wave, runs) ? 'kept' : 'waiting';
}

/** Whether a unit runs the release that it would be offered. */
function isThere(wave: OfferedWave, { digest, sequence }: ReturnType<typeof runsOf>): boolean {
  if (digest !== undefined) return digest === wave.manifest_digest;
  return sequence !== undefined && sequenceText(sequence) === wave.sequence;
}

/** A unit as it is told. */
export function unitOf(
  row: UnitRecord,
  cell: Cell,
  classId: string,
  wave: OfferedWave | undefined,
): FleetUnit {
  const { device, serial, site, hardware, tags, heard_order, attested_at, attested_verdict } = row;
  return {
    classId,
    device,
    serial: serial ?? undefined,
    group: site ?? undefined,
    hardware: hardware ?? undefined,
    tags: tags === null ? undefined : (JSON.parse(tags) as Record<string, string>),
    ...runsOf(row, cell),
    state: toldState(cell.state, wave),
    refusal: cell.code === '' ? undefined : { step: cell.step, code: cell.code },
    lastHeard: heard_order === null ? undefined : new Date(row.heard_at),
    wave: wave && { broadcast: wave.broadcast, number: wave.number },
    attestation: attested_at === null ? undefined : { verdict: attested_verdict!, at: new Date(attested_at) },
  };
}

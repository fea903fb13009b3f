import type { Attester } from '../attestation/index.ts';
import type { UnitFile } from '../unit/index.ts';
import type { PoweredUnit } from './power-up.ts';

const RUNNING_CODE = 'running code';

/** A unit under power as it answers challenges, with its last `boots` starts told along. */
export function attesterOf({ unit, flash, file }: PoweredUnit, boots: number): Attester {
  const { running, boot, check } = file.memory;
  const { slots } = unit.record.memory;
  return {
    unit,
    flash,
    running,
    boot,
    results: check
      ? [{ system: 'fieldseal self-check', results: [{ id: RUNNING_CODE, result: resultOf(check) }] }]
      : [],
    boots: unit
      .boots()
      .slice(0, boots)
      .map(({ count, kind, runs, sequenceNumber, failures }) => ({
        count,
        kind,
        runs: typeof runs === 'number' ? slots[runs]!.name : runs,
        sequenceNumber,
        failures,
      })),
  };
}

function resultOf({ changedAt, rounds }: NonNullable<UnitFile['memory']['check']>) {
  if (changedAt !== undefined) return 'fail';
  return rounds > 0 ? 'success' : 'not-run';
}

import { EXIT } from './exit.ts';
import type { Call } from './spec.ts';
import type { UnitSession } from './unit-session.ts';

/** Tells that the scheduled power cut came. The unit file is what a unit would be after it. */
export function reportCut(call: Call, { flash }: UnitSession, during: string): number {
  const { operations } = flash;
  call.out.line(
    `power cut during ${during}, after ${operations} whole flash operations; next: fieldseal boot`,
  );
  call.out.result({ format: 'fieldseal.power-cut/1', during, cut: true, operations });
  return EXIT.notDone;
}

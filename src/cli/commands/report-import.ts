import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { Intake, Newcomers } from '../../fleet/index.ts';
import { REPORT_LIMITS } from '../../report/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { openFleetOf } from '../fleet.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

const REPORT_FILE = /\.report$/;

/** Takes reports that somebody brought back into the fleet. */
export async function run(call: Call): Promise<number> {
  const folder = call.args[0]!;
  const names = reportsIn(folder);
  const session = await openSession(call);
  const store = await openFleetOf(session);
  try {
    const newcomers = new Newcomers(session.workspace, store);
    await newcomers.enter();
    const intake = new Intake(session, store, newcomers);
    const untaken: { file: string; outcome: string; code: string }[] = [];
    call.out.line(`${folder}${trialMark(session.workspace)}`);
    for (const [i, name] of names.entries()) {
      const result = await intake.take(reportAt(join(folder, name)));
      call.out.progress('taking reports', i + 1, names.length);
      if (!('code' in result)) continue;
      untaken.push({ file: name, outcome: result.outcome, code: result.code });
      call.out.fact(name, `${result.outcome}: ${result.code}, ${result.says}`);
    }
    const { new: taken, known } = intake.counts;
    call.out.fact('taken', `${taken} new, ${known} known before, ${untaken.length} not taken`);
    call.out.result({ format: 'fieldseal.reports-imported/1', folder, taken, known, untaken });
    return untaken.length === 0 ? EXIT.done : EXIT.refused;
  } finally {
    await store.close();
  }
}

function reportsIn(folder: string): string[] {
  const names = readdirSync(folder).filter((name) => REPORT_FILE.test(name));
  if (names.length > 0) return names.sort();
  throw wrongUse(`${folder}: no reports there`, 'reports are files whose names end with .report');
}

/** No more than tells that it is too long. */
function reportAt(path: string): Uint8Array {
  return new Uint8Array(readFileSync(path).subarray(0, REPORT_LIMITS.messageSize + 1));
}

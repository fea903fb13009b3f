import { reportAbout, reportOfState } from '../../report/index.ts';
import { CommandFailure, EXIT } from '../exit.ts';
import { showReport } from '../show-report.ts';
import type { Call } from '../spec.ts';
import { bytesOf, memoryOf, reportOrder, writeUnitReport } from '../unit-report.ts';
import { openUnitSession, type UnitSession } from '../unit-session.ts';

/** Has a unit report what it remembers. */
export async function run(call: Call): Promise<number> {
  const order = reportOrder(call, 'out')!;
  const session = await openUnitSession(call, call.args[0]!);
  try {
    const { record } = session.file;
    const report = tell(call, session, order);
    call.out.line(`unit ${record.serial} (${record.class_name})${record.trial ? '  [TRIAL unit]' : ''}`);
    showReport(call.out, report);
    const written = await writeUnitReport(call, session, order, report);
    call.out.result({
      format: 'fieldseal.report/1',
      serial: record.serial,
      class: record.class_name,
      ...written,
    });
    return EXIT.done;
  } finally {
    session.close();
  }
}

function tell(call: Call, session: UnitSession, order: Parameters<typeof reportOfState>[1]) {
  const digest = bytesOf(call, 'manifest');
  const memory = memoryOf(session);
  const report = digest ? reportAbout(memory, digest, order) : reportOfState(memory, order);
  if (report) return report;
  throw new CommandFailure(
    EXIT.refused,
    'manifest-unknown-to-unit',
    'the unit remembers nothing of this manifest: it never installed it, or another took its place',
    'leave --manifest out to hear what is at work; a refused install is reported by "fieldseal install --report"',
  );
}

import { numberJson } from '../../answers/index.ts';
import { reportOfKeep } from '../../report/index.ts';
import { PowerCut, toJson } from '../../unit/index.ts';
import { reportCut } from '../power-cut.ts';
import { showAnswer, showSteps, statusOf } from '../show-verdict.ts';
import type { Call } from '../spec.ts';
import { memoryOf, reportOrder, writeUnitReport } from '../unit-report.ts';
import { cutOf, openUnitSession } from '../unit-session.ts';

/** Keeps the image on trial and raises the floors. */
export async function run(call: Call): Promise<number> {
  const order = reportOrder(call, 'report');
  const session = await openUnitSession(call, call.args[0]!, { cut: cutOf(call) });
  try {
    const result = session.unit.keep();
    const { record } = session.file;
    call.out.line(`unit ${record.serial} (${record.class_name})${record.trial ? '  [TRIAL unit]' : ''}`);
    showSteps(call.out, result.steps, call.flag('trace') ? 'all' : 'refused');
    showAnswer(call.out, result, result.already ? 'kept already' : 'kept: the floors are raised');
    const floors = result.floors && {
      sequence_number: numberJson(result.floors.sequenceNumber),
      security_version: result.floors.securityVersion,
      signer_generation: result.floors.signerGeneration,
    };
    if (floors)
      call.out.fact(
        'floors',
        `sequence number ${floors.sequence_number}, security version ${floors.security_version}`,
      );
    const { operations } = session.flash;
    const report = order && reportOfKeep(result, memoryOf(session), order);
    const reported = order && report ? await writeUnitReport(call, session, order, report) : null;
    call.out.result({
      ...toJson(result),
      format: 'fieldseal.keep/1',
      already: result.already,
      floors,
      cut: false,
      operations,
      report: reported,
    });
    return statusOf(result.verdict);
  } catch (error) {
    if (error instanceof PowerCut) return reportCut(call, session, 'keep');
    throw error;
  } finally {
    session.close();
  }
}

import { reportOfInstall } from '../../report/index.ts';
import { PowerCut, toJson } from '../../unit/index.ts';
import { fileSource } from '../../workspace/index.ts';
import { timeOf } from '../date.ts';
import { openParts } from '../parts.ts';
import { reportCut } from '../power-cut.ts';
import { showAnswer, showFacts, showSteps, statusOf } from '../show-verdict.ts';
import type { Call } from '../spec.ts';
import { memoryOf, type ReportOrder, reportOrder, writeUnitReport } from '../unit-report.ts';
import { cutOf, openUnitSession, type UnitSession } from '../unit-session.ts';

/** Decides about an envelope and programs the free slot. */
export async function run(call: Call): Promise<number> {
  const order = reportOrder(call, 'report');
  const imagePath = call.text('image');
  const envelope = fileSource(call.args[0]!);
  const image = imagePath === undefined ? undefined : fileSource(imagePath);
  const parts = openParts(call);
  const session = await openUnitSession(call, call.text('unit')!, { cut: cutOf(call) });
  try {
    const { components, dependencies } = parts;
    return await install(
      call,
      session,
      { envelope, image, components, dependencies, now: timeOf(call) },
      order,
    );
  } catch (error) {
    if (error instanceof PowerCut) return reportCut(call, session, 'install');
    throw error;
  } finally {
    session.close();
    envelope.close();
    image?.close();
    parts.close();
  }
}

async function install(
  call: Call,
  session: UnitSession,
  request: Parameters<UnitSession['unit']['install']>[0],
  order: ReportOrder | undefined,
): Promise<number> {
  const { unit, flash, file } = session;
  const first = unit.marks()?.slots.every(({ state }) => state === 'empty') ?? false;
  const result = unit.install(request);
  const isPolicy = result.facts.trust !== undefined;
  call.out.line(
    `${call.args[0]} into unit ${file.record.serial} (${file.record.class_name})${file.record.trial ? '  [TRIAL unit]' : ''}`,
  );
  showSteps(call.out, result.steps, call.flag('trace') ? 'all' : 'refused');
  showFacts(call.out, result.facts);
  showAnswer(call.out, result, acceptedText(result));
  if (result.verdict === 'accepted' && first && !isPolicy)
    call.out.line('this was the first firmware of an empty unit: production programming');
  if (result.verdict === 'accepted' && result.facts.effect !== 'already there' && !isPolicy) {
    call.out.caution(
      'the image counts only after "fieldseal boot" and "fieldseal keep". In the field: install when the product is in a safe state.',
    );
  }
  const report = order && reportOfInstall(result, request.envelope, memoryOf(session), order);
  const reported = order && report ? await writeUnitReport(call, session, order, report) : null;
  call.out.result({
    ...toJson(result),
    format: 'fieldseal.install/1',
    slot: result.slot,
    production_programming: first && result.verdict === 'accepted' && !isPolicy,
    cut: false,
    operations: flash.operations,
    report: reported,
  });
  return statusOf(result.verdict);
}

function acceptedText(result: ReturnType<UnitSession['unit']['install']>): string {
  if (result.facts.trust)
    return result.facts.effect === 'already there'
      ? 'already there: this trust update was taken before'
      : 'taken: the unit believes by this policy from now on';
  return result.facts.effect === 'already there'
    ? `already there: slot ${result.slot}`
    : `installed: slot ${result.slot} is ready`;
}

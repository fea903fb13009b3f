import { numberJson } from '../../answers/index.ts';
import { toHex } from '../../bytes/index.ts';
import { reportOfStart } from '../../report/index.ts';
import { type BootResult, PowerCut } from '../../unit/index.ts';
import { EXIT } from '../exit.ts';
import { reportCut } from '../power-cut.ts';
import { bootEntryJson } from '../show-boot.ts';
import { comparisonsJson, refusalJson, showAnswer, showSteps } from '../show-verdict.ts';
import type { Call } from '../spec.ts';
import { memoryOf, reportOrder, writeUnitReport } from '../unit-report.ts';
import { cutOf, openUnitSession, type UnitSession } from '../unit-session.ts';

/** Starts a unit. */
export async function run(call: Call): Promise<number> {
  const order = reportOrder(call, 'report');
  const session = await openUnitSession(call, call.args[0]!, { cut: cutOf(call) });
  try {
    const before = order && memoryOf(session);
    const result = session.unit.start();
    show(call, session, result);
    const report = order && before && reportOfStart(result, before, order);
    const reported = order && report ? await writeUnitReport(call, session, order, report) : null;
    call.out.result({ ...startJson(session, result), report: reported });
    return result.verdict === 'accepted' ? EXIT.done : EXIT.refused;
  } catch (error) {
    if (error instanceof PowerCut) return reportCut(call, session, 'boot');
    throw error;
  } finally {
    session.close();
  }
}

function show(call: Call, { file }: UnitSession, result: BootResult): void {
  const { record } = file;
  call.out.line(`unit ${record.serial} (${record.class_name}) starts${record.trial ? '  [TRIAL unit]' : ''}`);
  showSteps(call.out, result.steps, call.flag('trace') ? 'all' : 'refused');
  for (const { slot, refusal } of result.passedOver)
    call.out.fact(`slot ${slot} not run`, `${refusal.code}: ${refusal.says}`);
  const { started } = result;
  showAnswer(call.out, result, started ? startedText(started) : '');
  call.out.fact('boot log', logText(result));
}

function logText({ boot, logged }: BootResult): string {
  const entered = logged
    ? `start ${boot.count}`
    : 'nothing entered: the unit keeps none, or its flash takes nothing more';
  return `${entered}, seed ${toHex(boot.seed)}`;
}

function startedText({ image, state, facts }: NonNullable<BootResult['started']>): string {
  if (!facts) return 'runs: the recovery image, which may only fetch and install';
  const version = facts.version === undefined ? '' : ` version ${facts.version},`;
  return `runs:${version} sequence number ${facts.sequenceNumber}, slot ${image}, ${state}`;
}

function startJson(
  { file, flash }: UnitSession,
  { verdict, refusal, started, passedOver, steps, boot, logged }: BootResult,
): object {
  return {
    format: 'fieldseal.boot/1',
    serial: file.record.serial,
    verdict,
    refusal: refusalJson(refusal),
    slot: started?.image ?? null,
    state: started?.state ?? null,
    version: started?.facts?.version ?? null,
    sequence_number: started?.facts ? numberJson(started.facts.sequenceNumber) : null,
    image_digest: started?.facts ? toHex(started.facts.imageDigest) : null,
    image_size_bytes: started?.facts?.imageSize ?? null,
    manifest_digest: started?.facts ? toHex(started.facts.manifestDigest) : null,
    passed_over: passedOver.map(({ slot, refusal: why }) => ({ slot, refusal: refusalJson(why) })),
    steps: steps.map(comparisonsJson),
    boot: { logged, ...bootEntryJson(boot, file.record) },
    cut: false,
    operations: flash.operations,
  };
}

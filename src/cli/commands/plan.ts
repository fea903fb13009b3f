import { fromUtf8, toHex } from '../../bytes/index.ts';
import { sha256 } from '../../crypto/index.ts';
import { planMarkdown, readFigures, type TrustPlan, trustPlan } from '../../plan/index.ts';
import {
  appendEntry,
  filesOn,
  type JsonObject,
  readableJson,
  readClass,
  type Workspace,
} from '../../workspace/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { openSession } from '../session.ts';
import { showPlan } from '../show-plan.ts';
import type { Call } from '../spec.ts';

/** The trust plan of a class. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const deviceClass = await readClass(workspace, call.args[0]!);
  const figures = await readFigures(workspace, call.text('figures'));
  const plan = await trustPlan(workspace, deviceClass, figures);
  showPlan(call.out, plan);
  const written = write(call, workspace, plan);
  for (const { file, sha256: digest } of written)
    call.out.fact('decision record', `${file}  sha-256 ${digest}`);
  call.out.result({ ...plan, files: written });
  return EXIT.done;
}

interface Written extends JsonObject {
  readonly file: string;
  readonly sha256: string;
}

/** Writes the record, and enters it in the ledger before its files get their names. */
function write(call: Call, workspace: Workspace, plan: TrustPlan): Written[] {
  const forms = [
    { file: call.text('out'), text: planMarkdown(plan) },
    { file: call.text('out-json'), text: readableJson(plan as unknown as JsonObject) },
  ].flatMap(({ file, text }) => (file === undefined ? [] : [{ file, text }]));
  const decidedBy = call.text('decided-by');
  if (decidedBy !== undefined && forms.length === 0)
    throw wrongUse('--decided-by enters a record that is written', 'add --out FILE');
  const outputs = forms.map(({ file, text }) => ({
    output: filesOn().beginOutput(file, { force: call.flag('force') }),
    bytes: fromUtf8(text),
    file,
  }));
  try {
    for (const { output, bytes } of outputs) output.write(bytes);
    for (const { output } of outputs) output.settle();
    const written = outputs.map(({ file, bytes }) => ({ file, sha256: toHex(sha256(bytes)) }));
    if (decidedBy !== undefined) enter(workspace, plan, decidedBy, written);
    for (const { output } of outputs) output.commit();
    return written;
  } finally {
    for (const { output } of outputs) output.abandon();
  }
}

function enter(workspace: Workspace, plan: TrustPlan, decidedBy: string, written: readonly Written[]): void {
  appendEntry(workspace, 'plan-decided', {
    class: plan.class,
    decided_by: decidedBy,
    planned: plan.planned,
    conflicts: plan.findings.filter(({ weight }) => weight === 'conflict').map(({ id }) => id),
    files: written.map(({ sha256: digest }) => digest),
  });
}

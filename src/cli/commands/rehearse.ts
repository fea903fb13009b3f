import { fromUtf8 } from '../../bytes/index.ts';
import {
  enterRehearsal,
  type Rehearsal,
  type RehearsalDocument,
  rehearsalJson,
  rehearse,
} from '../../rehearsal/index.ts';
import { filesOn, readableJson, type Workspace } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { rehearsalCase } from '../rehearsal-subject.ts';
import { requireFree } from '../require-free.ts';
import { showNotTaken, showOutcome, showRehearsal } from '../show-rehearsal.ts';
import type { Call } from '../spec.ts';

/** Makes every forgery of a payload and has each refused; or asks every unit of an inventory. */
export async function run(call: Call): Promise<number> {
  if (call.text('units') !== undefined) return (await import('../acceptance.ts')).rehearseUnits(call);
  const out = call.text('out');
  if (out !== undefined && !call.flag('force')) requireFree(out);
  const { subject, workspace, told } = await rehearsalCase(call);
  const rehearsal = await rehearse(subject, (done, total) => call.out.progress('rehearsing', done, total));
  call.out.line(`${call.args[0]}: rehearsed against ${told}`);
  show(call, rehearsal);
  const json = rehearsalJson(subject, rehearsal);
  keep(call, workspace, json);
  showOutcome(call.out, json);
  call.out.result(json);
  return statusOf(rehearsal, json);
}

/** A payload that was never asked about, for lack of its image or of something to compare, is not refused. */
function statusOf(rehearsal: Rehearsal, { outcome, refusal }: RehearsalDocument): number {
  if (outcome === 'passed') return EXIT.done;
  if (outcome === 'failed' || refusal || rehearsal.kind !== 'not taken') return EXIT.refused;
  return rehearsal.verdict.verdict === 'incomplete' ? EXIT.incomplete : EXIT.notDone;
}

function show(call: Call, rehearsal: Rehearsal): void {
  if (rehearsal.kind === 'not taken') showNotTaken(call.out, rehearsal);
  else showRehearsal(call.out, rehearsal);
}

/** Enters the outcome in the ledger, where there is one, before the file of the result gets its name. */
function keep(call: Call, workspace: Workspace | undefined, json: RehearsalDocument): void {
  const path = call.text('out');
  const output = path === undefined ? undefined : filesOn().beginOutput(path, { force: call.flag('force') });
  try {
    output?.write(fromUtf8(readableJson(json)));
    output?.settle();
    if (workspace) enterRehearsal(workspace, json);
    output?.commit();
  } finally {
    output?.abandon();
  }
}

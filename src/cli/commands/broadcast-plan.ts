import {
  type BroadcastPlan,
  draftPlan,
  type FleetStore,
  type Judged,
  judgementJson,
  judgePlan,
  planFromText,
} from '../../fleet/index.ts';
import { type DeviceClass, filesOn, readClass, type Workspace } from '../../workspace/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { openFleetOf } from '../fleet.ts';
import { requireFree } from '../require-free.ts';
import { openSession } from '../session.ts';
import type { Call } from '../spec.ts';

/** Where a plan is written or judged. */
interface At {
  readonly workspace: Workspace;
  readonly store: FleetStore;
  readonly deviceClass: DeviceClass;
}

/** Writes a plan to begin from, or judges one against the fleet. */
export async function run(call: Call): Promise<number> {
  const [out, file] = [call.text('out'), call.text('plan')];
  if ((out === undefined) === (file === undefined))
    throw wrongUse('give --out FILE for a plan to begin from, or --plan FILE for one to be judged');
  const sent = sentBy(call);
  if (out !== undefined && sent)
    throw wrongUse('what is to be sent is judged with a plan that is written', 'give that: --plan FILE');
  const session = await openSession(call);
  const { workspace } = session;
  const deviceClass = await readClass(workspace, call.args[0]!);
  const store = await openFleetOf(session);
  const at = { workspace, store, deviceClass };
  try {
    if (out !== undefined) return await write(call, at, out);
    return await judge(call, { ...at, sent }, await planFromText(filesOn().readText(file!), file!));
  } finally {
    await store.close();
  }
}

async function write(call: Call, { workspace, store, deviceClass }: At, out: string): Promise<number> {
  requireFree(out);
  filesOn().createNew(out, await draftPlan(workspace, store, deviceClass));
  call.out.line(
    `wrote ${out}: set its waves and its limits, then see: fieldseal broadcast plan ${deviceClass.name} --plan ${out}`,
  );
  call.out.result({ format: 'fieldseal.broadcast-plan-written/1', class: deviceClass.name, file: out });
  return EXIT.done;
}

async function judge(
  call: Call,
  { workspace, store, deviceClass, sent }: At & Pick<Judged, 'sent'>,
  plan: BroadcastPlan,
): Promise<number> {
  const judgement = await judgePlan({ workspace, store, deviceClass, plan, sent });
  const { preview, release, refused, cautions } = judgement;
  call.out.line(`${plan.waves.length} waves for ${preview.units} units of class ${deviceClass.name}`);
  for (const { name, units } of preview.waves) call.out.fact(name, `${units} unit${units === 1 ? '' : 's'}`);
  if (preview.beyond > 0) call.out.fact('in no wave', `${preview.beyond} units`);
  if (release) call.out.fact('is to be sent', `release ${release.sequenceNumber}, ${call.args[1]}`);
  if (plan.waves.some(({ share }) => share > 0))
    call.out.line('shares are drawn by a lot of their own when it begins: about so many');
  if (preview.missing.length > 0) call.out.caution(`not in the fleet: ${preview.missing.join(', ')}`);
  if (refused) call.out.caution(`broadcast begin refuses it: ${refused.message}`);
  for (const each of cautions) call.out.caution(each);
  call.out.caution('the pilot holds units that you can watch and reach, of every hardware revision');
  call.out.result(judgementJson(plan, judgement));
  return refused ? EXIT.refused : EXIT.done;
}

/** What the call says is to be sent by the plan. */
function sentBy(call: Call): Judged['sent'] {
  const envelope = call.args[1];
  const [images, steppingStones] = [call.texts('image'), call.texts('stepping-stone')];
  if (envelope !== undefined) return { envelope, images, steppingStones };
  if (images.length + steppingStones.length === 0) return undefined;
  throw wrongUse(
    'images and stepping stones are judged beside the envelope that is to be sent',
    'give it after the class: fieldseal broadcast plan CLASS ENVELOPE --plan FILE',
  );
}

import { Depot } from '../../broadcast/index.ts';
import { begin, broadcastJson, planFromText } from '../../fleet/index.ts';
import { filesOn, readClass } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openFleetOf } from '../fleet.ts';
import { openSession, trialMark } from '../session.ts';
import { showBroadcast } from '../show-broadcast.ts';
import type { Call } from '../spec.ts';
import { whoOf } from '../who.ts';

/** Begins a broadcast; the steering announces it. */
export async function run(call: Call): Promise<number> {
  const session = await openSession(call);
  const { workspace } = session;
  const deviceClass = await readClass(workspace, call.args[0]!);
  const file = call.text('plan')!;
  const plan = await planFromText(filesOn().readText(file), file);
  const store = await openFleetOf(session);
  try {
    const { broadcast, cautions } = await begin({
      ...{ workspace, store, deviceClass, plan },
      depot: new Depot(call.text('depot')!),
      envelope: call.args[1]!,
      steppingStones: call.texts('stepping-stone'),
      images: call.texts('image'),
      who: whoOf(call),
    });
    const json = await broadcastJson(store, deviceClass, broadcast, workspace.now());
    call.out.line(`begun${trialMark(workspace)}; nothing is announced until it is steered`);
    showBroadcast(call.out, json);
    for (const each of cautions) call.out.caution(each);
    call.out.result({ ...json, cautions });
    return EXIT.done;
  } finally {
    await store.close();
  }
}

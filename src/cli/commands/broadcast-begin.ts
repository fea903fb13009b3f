import { clearCaution, Depot } from '../../broadcast/index.ts';
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
    const { broadcast, preview } = await begin({
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
    if (preview.missing.length > 0)
      call.out.caution(`named in the pilot and not in the fleet: ${preview.missing.join(', ')}`);
    if (preview.beyond > 0) call.out.caution(`${preview.beyond} units are in no wave`);
    const clear = clearCaution(deviceClass, call.args[1]!);
    if (clear) call.out.caution(clear);
    call.out.caution(
      'keep a recovery path proved on a real unit; for a product under a safety or approval standard, that standard and qualified practice decide whether, when and by whom it is installed',
    );
    call.out.result(json);
    return EXIT.done;
  } finally {
    await store.close();
  }
}

import { setTimeout as pause } from 'node:timers/promises';
import { broadcastJson, currentBroadcast, type Look } from '../../fleet/index.ts';
import { readClass } from '../../workspace/index.ts';
import { EXIT } from '../exit.ts';
import { openFleetOf } from '../fleet.ts';
import { openSession } from '../session.ts';
import { showBroadcast } from '../show-broadcast.ts';
import type { Call } from '../spec.ts';
import { steeringOf } from '../voice.ts';

const USUAL_EVERY = 10;
/** Between two looks of a command that was killed and started again by hand, not less. */
const LEAST_MS = 100;

/** Steers the broadcast of a class: looks, decides, announces. */
export async function run(call: Call): Promise<number> {
  const session = await openSession(call);
  const deviceClass = await readClass(session.workspace, call.args[0]!);
  const store = await openFleetOf(session);
  try {
    const steered = steeringOf(call, session, store, deviceClass);
    const stop = stopSignal();
    let look: Look;
    try {
      let told = '';
      for (;;) {
        look = await steered.steering.look();
        told = tell(call, look, told);
        if (call.flag('once') || stop.aborted) break;
        const every = (call.count('every') ?? USUAL_EVERY) * 1000;
        await pause(Math.max(every, LEAST_MS), undefined, { signal: stop }).catch(() => {});
        if (stop.aborted) break;
      }
    } finally {
      await steered.close();
    }
    if (look.at !== 'steered') {
      call.out.result({ format: 'fieldseal.steered/1', steered: false, ...look, broadcast: null });
      return look.at === 'another' ? EXIT.notDone : EXIT.done;
    }
    const json = await broadcastJson(
      store,
      deviceClass,
      await currentBroadcast(store, deviceClass),
      session.workspace.now(),
    );
    if (call.flag('once')) showBroadcast(call.out, json);
    call.out.result({
      format: 'fieldseal.steered/1',
      steered: true,
      decisions: look.decisions.map((decision) => ({ do: decision.do, why: decision.why })),
      announced: look.announced ?? null,
      unpublished: look.unpublished ?? null,
      broadcast: json,
    });
    return json.state === 'paused' ? EXIT.refused : EXIT.done;
  } finally {
    await store.close();
  }
}

/** Tells what is new; gives what was told. */
function tell(call: Call, look: Look, before: string): string {
  if (look.at === 'another') return tellOnce(call, `${look.holder} steers; this one waits`, before);
  if (look.at === 'nothing') return tellOnce(call, 'nothing is to be steered', before);
  for (const decision of look.decisions)
    if (decision.do !== 'wait')
      call.out.line(
        'wave' in decision
          ? `${decision.do} wave ${decision.wave}: ${decision.why}`
          : `${decision.do}: ${decision.why}`,
      );
  if (look.announced)
    call.out.line(`announced, counter ${look.announced.counter}, until ${look.announced.expires}`);
  if (look.unpublished !== undefined)
    call.out.caution(`not published at the broker, tried again at the next look: ${look.unpublished}`);
  return tellOnce(call, look.decisions.at(-1)!.why, before);
}

function tellOnce(call: Call, text: string, before: string): string {
  if (text !== before) call.out.line(text);
  return text;
}

function stopSignal(): AbortSignal {
  const controller = new AbortController();
  for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => controller.abort());
  return controller.signal;
}

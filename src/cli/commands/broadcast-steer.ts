import { setTimeout as pause } from 'node:timers/promises';
import { broadcastJson, currentBroadcast, type Look, type Steering } from '../../fleet/index.ts';
import { Looks, type Monitor } from '../../monitoring/index.ts';
import { readClass } from '../../workspace/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { openFleetOf } from '../fleet.ts';
import { monitorOf } from '../monitor.ts';
import { openSession } from '../session.ts';
import { showBroadcast } from '../show-broadcast.ts';
import type { Call } from '../spec.ts';
import { steeringOf } from '../voice.ts';

const USUAL_EVERY = 10;
/** Between two looks of a command that was killed and started again by hand, not less. */
const LEAST_MS = 100;
/** Seconds that a look over a large fleet may take before this process does not count as ready. */
const LONGEST_LOOK = 300;

/** Steers the broadcast of a class: looks, decides, announces. */
export async function run(call: Call): Promise<number> {
  if (call.flag('once') && call.count('metrics-port') !== undefined)
    throw wrongUse('--metrics-port does not go with --once', 'leave one of them out');
  const session = await openSession(call);
  const deviceClass = await readClass(session.workspace, call.args[0]!);
  const store = await openFleetOf(session);
  try {
    const looks = new Looks(everyOf(call) + LONGEST_LOOK);
    const monitor = await monitorOf(call, { workspace: session.workspace, store, looks });
    const steered = steeringOf(call, session, store, deviceClass);
    let look: Look;
    try {
      look = await steer(call, steered.steering, (latest) => {
        looks.note(latest);
        if (monitor) log(monitor, latest);
      });
    } catch (error) {
      monitor?.fault(error, 'steering ends');
      throw error;
    } finally {
      await steered.close();
      await monitor?.close();
    }
    if (look.at !== 'steered') {
      call.out.result({ format: 'fieldseal.steered/1', steered: false, ...look, broadcast: null });
      return look.at === 'another' ? EXIT.notDone : EXIT.done;
    }
    const { lacking } = look;
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
      lacking: lacking ? { code: lacking.code, message: lacking.message, hint: lacking.hint } : null,
      broadcast: json,
    });
    return json.state === 'paused' ? EXIT.refused : EXIT.done;
  } finally {
    await store.close();
  }
}

/** Looks again and again until it is told to stop, or once; gives the latest look. */
async function steer(call: Call, steering: Steering, note: (look: Look) => void): Promise<Look> {
  const stop = stopSignal();
  for (let told = '', lacked = '', isFirst = true; ; ) {
    const look = await steering.look();
    note(look);
    told = tell(call, look, told);
    const lacking = look.at === 'steered' ? look.lacking : undefined;
    // From the beginning: most likely another depot is meant. Later the rules must go on being watched.
    if (lacking && isFirst && isToOffer(look)) throw lacking;
    lacked = lacking ? cautionOnce(call, `${lacking.message}; ${lacking.hint}`, lacked) : '';
    isFirst = false;
    if (call.flag('once') || stop.aborted) return look;
    await pause(Math.max(everyOf(call) * 1000, LEAST_MS), undefined, { signal: stop }).catch(() => {});
    if (stop.aborted) return look;
  }
}

function everyOf(call: Call): number {
  return call.count('every') ?? USUAL_EVERY;
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
    call.out.line(
      `${look.lacking ? 'the offer is taken back: ' : ''}announced, counter ${look.announced.counter}, until ${look.announced.expires}`,
    );
  if (look.unpublished !== undefined)
    call.out.caution(`not published at the broker, tried again at the next look: ${look.unpublished}`);
  return tellOnce(call, look.decisions.at(-1)!.why, before);
}

function isToOffer(look: Look): boolean {
  return look.at === 'steered' && (look.state === 'running' || look.state === 'done');
}

/** What a look changed goes into the log. */
function log(monitor: Monitor, look: Look): void {
  if (look.at !== 'steered') return;
  for (const { do: step, why, ...more } of look.decisions)
    if (step !== 'wait')
      monitor.tell({ do: step, why, ...('wave' in more && { wave: more.wave }) }, 'decided');
  if (look.announced) monitor.tell(look.announced, 'announced');
  if (look.unpublished !== undefined) monitor.fault(look.unpublished, 'not published at the broker');
  if (look.lacking) monitor.fault(look.lacking, 'the depot lacks what is offered');
}

function tellOnce(call: Call, text: string, before: string): string {
  if (text !== before) call.out.line(text);
  return text;
}

function cautionOnce(call: Call, text: string, before: string): string {
  if (text !== before) call.out.caution(text);
  return text;
}

function stopSignal(): AbortSignal {
  const controller = new AbortController();
  for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => controller.abort());
  return controller.signal;
}

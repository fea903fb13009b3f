import { setMaxListeners } from 'node:events';
import {
  type Attended,
  attend,
  attendOnce,
  type Broker,
  Gate,
  type Listening,
  listen,
} from '../../broadcast/index.ts';
import { AgentEvents } from '../agent-events.ts';
import { attended, unitsAt } from '../attended.ts';
import { brokerOf } from '../broker.ts';
import { EXIT, wrongUse } from '../exit.ts';
import type { Call } from '../spec.ts';

const USUAL_EVERY = 300;
const USUAL_AT_ONCE = 32;
/** Units a second that begin, so that thousands of them do not ask a depot together. */
const BEGIN_EACH_SECOND = 500;
const BYTES_OF_KIB = 1024;

/** Serves one unit, or all in a folder: hears, fetches, installs, restarts, keeps, reports. */
export async function run(call: Call): Promise<number> {
  const once = call.flag('once');
  const broker = brokerOf(call);
  if (broker && once) throw wrongUse('--mqtt does not go with --once', 'leave one of them out');
  const gate = new Gate(atOnce(call));
  const events = new AgentEvents(call.out);
  const found = unitsAt(call.args[0]!);
  const stop = stopSignal();
  const units = found.paths.map((path) => attended(call, path, found, events, stop));
  if (once)
    await Promise.all(units.map((unit) => gate.pass(() => attendOnce(unit, false).catch(unit.trouble))));
  else await attendAll(call, units, gate, broker, events, stop.signal);
  const peak = process.resourceUsage().maxRSS * BYTES_OF_KIB;
  if (found.several)
    call.out.line(`${units.length} units in one process, at most ${Math.ceil(peak / 1e6)} MB of memory`);
  call.out.result({
    format: 'fieldseal.agent-run/1',
    units: units.length,
    peak_memory_bytes: peak,
    events: events.latest,
  });
  return once ? events.status() : EXIT.done;
}

function atOnce(call: Call): number {
  const most = call.count('at-once') ?? USUAL_AT_ONCE;
  if (most > 0) return most;
  throw wrongUse('--at-once 0: nothing would ever be done', 'for example --at-once 32');
}

async function attendAll(
  call: Call,
  units: readonly Attended[],
  gate: Gate,
  broker: Broker | undefined,
  events: AgentEvents,
  stop: AbortSignal,
): Promise<void> {
  stop.addEventListener('abort', () => {
    for (const { published } of units) published.wake();
  });
  const listening = broker && (await listenFor(units, broker, events));
  const rhythm = {
    every: (call.count('every') ?? USUAL_EVERY) * 1000,
    spread: ((units.length - 1) / BEGIN_EACH_SECOND) * 1000,
    gate,
    stop,
  };
  await Promise.all(units.map((unit) => attend(unit, rhythm)));
  await listening?.close();
}

/** One connection for all units: those of one class hear the same messages. */
async function listenFor(
  units: readonly Attended[],
  broker: Broker,
  events: AgentEvents,
): Promise<Listening> {
  const listeners = new Map<string, Attended[]>();
  for (const unit of units) {
    const name = await unit.agent.listensTo();
    const others = listeners.get(name);
    if (others) others.push(unit);
    else listeners.set(name, [unit]);
  }
  return listen(broker, [...listeners.keys()], {
    heard: (message, name) => {
      for (const { published } of listeners.get(name)!) published.put(message);
    },
    tell: (news) => events.tell({ event: 'broker', ...news }),
  });
}

function stopSignal(): AbortController {
  const controller = new AbortController();
  // Every unit waits for it.
  setMaxListeners(0, controller.signal);
  for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => controller.abort());
  return controller;
}

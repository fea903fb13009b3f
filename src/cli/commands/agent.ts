import { spawn } from 'node:child_process';
import { setTimeout as pause } from 'node:timers/promises';
import { Agent, type AgentEvent, type BrokerNews, Latest, listen } from '../../broadcast/index.ts';
import { agentUnit } from '../agent-unit.ts';
import { brokerOf } from '../broker.ts';
import { EXIT, wrongUse } from '../exit.ts';
import type { Call } from '../spec.ts';

const USUAL_EVERY = 300;
const HEALTH_PATIENCE_MS = 120_000;
/** Rounds are spread, so that many units do not ask at once: each waits up to this share longer. */
const SPREAD = 0.2;
/** Between two messages of a broker, so that a flood of them does not keep the unit busy. */
const RECESS_MS = 1000;
/** With --json a long run tells its latest events only. */
const MOST_EVENTS = 1000;

type Told = AgentEvent | ({ readonly event: 'broker' } & BrokerNews);

/** Serves one unit: hears, fetches, installs, restarts, keeps. */
export async function run(call: Call): Promise<number> {
  const path = call.args[0]!;
  const broker = brokerOf(call);
  if (broker && call.flag('once')) throw wrongUse('--mqtt does not go with --once', 'leave one of them out');
  const events: { readonly event: string }[] = [];
  const tell = (event: Told) => {
    const { result: _, ...told } = event as Told & { result?: unknown };
    if (events.push(told) > MOST_EVENTS) events.shift();
    call.out.line(textOf(event));
  };
  const agent = new Agent({
    depot: depotOf(call.text('depot')!),
    folder: call.text('state') ?? `${path}.agent`,
    unit: agentUnit(call, path, call.text('reports')),
    healthy: () => isHealthy(call.text('health')!),
    tell,
    now: () => new Date(),
  });
  await agent.wake();
  const stop = stopSignal();
  const published = new Latest();
  const listening =
    broker &&
    (await listen(broker, await agent.listensTo(), {
      heard: (message) => published.put(message),
      tell: (news) => tell({ event: 'broker', ...news }),
    }));
  for (;;) {
    await agent.round();
    if (call.flag('once') || stop.aborted) break;
    await rest(call.count('every') ?? USUAL_EVERY, stop, (over) => act(agent, published, over));
    if (stop.aborted) break;
  }
  await listening?.close();
  call.out.result({ format: 'fieldseal.agent-run/1', events });
  return call.flag('once') ? statusOf(events) : EXIT.done;
}

/** What one round came to: a script must tell a refusal from a depot that is not there. */
function statusOf(events: readonly { readonly event: string }[]): number {
  const happened = (name: AgentEvent['event']) => events.some(({ event }) => event === name);
  if (happened('refused')) return EXIT.refused;
  return happened('not-fetched') ? EXIT.notDone : EXIT.done;
}

function depotOf(text: string): URL {
  const url = URL.canParse(text) ? new URL(text.endsWith('/') ? text : `${text}/`) : undefined;
  if (url && ['http:', 'https:'].includes(url.protocol)) return url;
  throw wrongUse(`--depot ${text}: not an address that begins with http: or https:`);
}

function stopSignal(): AbortSignal {
  const controller = new AbortController();
  for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => controller.abort());
  return controller.signal;
}

/** Rests until the next round, `busy` with what comes meanwhile. */
async function rest(
  seconds: number,
  stop: AbortSignal,
  busy: (over: AbortSignal) => Promise<void>,
): Promise<void> {
  const longer = 1 + Math.random() * SPREAD;
  const round = new AbortController();
  const timer = setTimeout(() => round.abort(), seconds * 1000 * longer);
  await busy(AbortSignal.any([stop, round.signal]));
  clearTimeout(timer);
}

/** Acts on what is published, one at a time, until `over`. */
async function act(agent: Agent, published: Latest, over: AbortSignal): Promise<void> {
  for (;;) {
    const message = await published.next(over);
    if (!message) return;
    await agent.told(message);
    await pause(RECESS_MS, undefined, { signal: over }).catch(() => {});
  }
}

/** The self-test: a command of the operator's that ends with status 0 where all is well. */
function isHealthy(command: string): Promise<boolean> {
  return new Promise((resolve) => {
    const test = spawn(command, { shell: true, stdio: 'ignore', timeout: HEALTH_PATIENCE_MS });
    test.on('error', () => resolve(false));
    test.on('exit', (status) => resolve(status === 0));
  });
}

function textOf(event: Told): string {
  switch (event.event) {
    case 'broker':
      return event.says;
    case 'heard':
      return `heard announcement ${event.counter}, wave ${event.wave}${event.mine ? '' : ': not for this unit'}`;
    case 'ignored':
      return `took no notice of an announcement: ${event.code}, ${event.detail}`;
    case 'fetched':
      return `fetched ${event.digest.slice(0, 16)}..., ${event.bytes} B`;
    case 'not-fetched':
      return `not fetched: ${event.says}`;
    case 'installed':
      return `installed into slot ${event.slot}`;
    case 'refused':
      return `refused at step ${event.step}: ${event.code}`;
    case 'started':
      return `runs ${event.version ?? 'the recovery image'}, ${event.state}`;
    case 'not-started':
      return `nothing starts${event.code ? `: ${event.code}` : ''}`;
    case 'kept':
      return 'kept';
    case 'unwell':
      return event.says;
  }
}

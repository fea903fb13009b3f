import { spawn } from 'node:child_process';
import { setTimeout as pause } from 'node:timers/promises';
import { Agent, type AgentEvent } from '../../broadcast/index.ts';
import { agentUnit } from '../agent-unit.ts';
import { EXIT, wrongUse } from '../exit.ts';
import type { Call } from '../spec.ts';

const USUAL_EVERY = 300;
const HEALTH_PATIENCE_MS = 120_000;
/** Rounds are spread, so that many units do not ask at once: each waits up to this share longer. */
const SPREAD = 0.2;

/** Serves one unit: hears, fetches, installs, restarts, keeps. */
export async function run(call: Call): Promise<number> {
  const path = call.args[0]!;
  const events: object[] = [];
  const agent = new Agent({
    depot: depotOf(call.text('depot')!),
    folder: call.text('state') ?? `${path}.agent`,
    unit: agentUnit(call, path, call.text('reports')),
    healthy: () => isHealthy(call.text('health')!),
    tell: (event) => {
      const { result: _, ...told } = event as AgentEvent & { result?: unknown };
      events.push(told);
      call.out.line(textOf(event));
    },
    now: () => new Date(),
  });
  await agent.wake();
  const stop = stopSignal();
  for (;;) {
    await agent.round();
    if (call.flag('once') || stop.aborted) break;
    await rest(call.count('every') ?? USUAL_EVERY, stop);
    if (stop.aborted) break;
  }
  call.out.result({ format: 'fieldseal.agent-run/1', events });
  return EXIT.done;
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

async function rest(seconds: number, stop: AbortSignal): Promise<void> {
  const longer = 1 + Math.random() * SPREAD;
  await pause(seconds * 1000 * longer, undefined, { signal: stop }).catch(() => {});
}

/** The self-test: a command of the operator's that ends with status 0 where all is well. */
function isHealthy(command: string): Promise<boolean> {
  return new Promise((resolve) => {
    const test = spawn(command, { shell: true, stdio: 'ignore', timeout: HEALTH_PATIENCE_MS });
    test.on('error', () => resolve(false));
    test.on('exit', (status) => resolve(status === 0));
  });
}

function textOf(event: AgentEvent): string {
  switch (event.event) {
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

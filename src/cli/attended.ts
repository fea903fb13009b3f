import { spawn } from 'node:child_process';
import { readdirSync, statSync } from 'node:fs';
import { basename, join } from 'node:path';
import { Agent, type Attended, Latest, Outbox } from '../broadcast/index.ts';
import type { AgentEvents, Told } from './agent-events.ts';
import { agentUnit } from './agent-unit.ts';
import { wrongUse } from './exit.ts';
import { toFailure } from './failures.ts';
import type { Call } from './spec.ts';

const HEALTH_PATIENCE_MS = 120_000;
const UNIT_FILE = /\.unit$/;

/** The units that an argument names: one file, or all unit files in a folder. */
export interface Units {
  readonly paths: readonly string[];
  /** Whether it is a folder: what concerns one unit is then told with its name. */
  readonly several: boolean;
}

/** Finds them. Throws wrong use where there are none. */
export function unitsAt(path: string): Units {
  if (!statSync(path, { throwIfNoEntry: false })?.isDirectory()) return { paths: [path], several: false };
  const names = readdirSync(path).filter((name) => UNIT_FILE.test(name));
  if (names.length > 0) return { paths: names.sort().map((name) => join(path, name)), several: true };
  throw wrongUse(`${path}: no unit files there`, 'make some: fieldseal batch run, or fieldseal provision');
}

/** A unit with its agent, as the options of the call say. */
export function attended(call: Call, path: string, { several }: Units, events: AgentEvents): Attended {
  const name = several ? basename(path) : undefined;
  const tell = (event: Told) => events.tell(event, name);
  const state = stateOf(call.text('state'), path, several);
  const intake = call.text('report-to');
  const outbox =
    intake === undefined
      ? undefined
      : new Outbox({ folder: join(state, 'unsent'), intake: webAddress('report-to', intake), tell });
  const agent = new Agent({
    depot: webAddress('depot', withSlash(call.text('depot')!)),
    folder: state,
    unit: agentUnit(call, path, { folder: call.text('reports'), outbox }),
    healthy: () => isHealthy(call.text('health')!, path),
    tell,
    now: () => new Date(),
  });
  const trouble = (error: unknown) => {
    if (!several) throw error;
    tell({ event: 'trouble', says: toFailure(error).message });
  };
  return { agent, outbox, published: new Latest(), trouble };
}

function stateOf(folder: string | undefined, path: string, several: boolean): string {
  if (folder === undefined) return `${path}.agent`;
  return several ? join(folder, basename(path)) : folder;
}

function withSlash(text: string): string {
  return text.endsWith('/') ? text : `${text}/`;
}

function webAddress(option: string, text: string): URL {
  const url = URL.canParse(text) ? new URL(text) : undefined;
  if (url && ['http:', 'https:'].includes(url.protocol)) return url;
  throw wrongUse(`--${option} ${text}: not an address that begins with http: or https:`);
}

/** The self-test: a command of the operator's that ends with status 0 where all is well. */
function isHealthy(command: string, unit: string): Promise<boolean> {
  return new Promise((resolve) => {
    const test = spawn(command, {
      shell: true,
      stdio: 'ignore',
      timeout: HEALTH_PATIENCE_MS,
      env: { ...process.env, FIELDSEAL_UNIT: unit },
    });
    test.on('error', () => resolve(false));
    test.on('exit', (status) => resolve(status === 0));
  });
}

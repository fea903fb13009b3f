import { spawn } from 'node:child_process';
import { readdirSync, statSync } from 'node:fs';
import { basename, join } from 'node:path';
import { Agent, type Attended, Latest, Outbox } from '../broadcast/index.ts';
import { WorkspaceError } from '../workspace/index.ts';
import type { AgentEvents, Told } from './agent-events.ts';
import { agentUnit } from './agent-unit.ts';
import { CommandFailure, EXIT, wrongUse } from './exit.ts';
import { toFailure } from './failures.ts';
import type { Call } from './spec.ts';

const HOOK_PATIENCE_MS = 120_000;
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
export function attended(
  call: Call,
  path: string,
  { several }: Units,
  events: AgentEvents,
  stop: AbortController,
): Attended {
  const name = several ? basename(path) : undefined;
  const tell = (event: Told) => events.tell(event, name);
  const state = stateOf(call.text('state'), path, several);
  const intake = call.text('report-to');
  const outbox =
    intake === undefined
      ? undefined
      : new Outbox({ folder: join(state, 'unsent'), intake: webAddress('report-to', intake), tell });
  const restart = call.text('restart');
  if (restart !== undefined && several)
    throw wrongUse('--restart does not go with several units', 'name one unit file');
  const agent = new Agent({
    depot: folderAddress('depot', call.text('depot')!),
    folder: state,
    unit: agentUnit(call, path, { folder: call.text('reports'), outbox }),
    ...(restart !== undefined && {
      restart: async () => {
        await restartBy(restart, path);
        stop.abort();
      },
    }),
    ready: (condition) => isReady(call.text('ready'), path, condition),
    healthy: async () => (await endOf(call.text('health')!, path, HOOK_PATIENCE_MS)) === 0,
    tell,
    now: () => new Date(),
  });
  const trouble = (error: unknown) => {
    if (!several && !isInUse(error)) throw error;
    tell({ event: 'trouble', says: toFailure(error).message });
  };
  return { agent, outbox, published: new Latest(), trouble };
}

/** A command of somebody's at the same unit: no reason to end, it is over soon. */
function isInUse(error: unknown): boolean {
  return error instanceof WorkspaceError && error.code === 'in-use';
}

/** Without a command to ask, a unit that is told of a condition waits: nobody said that it is met. */
async function isReady(
  command: string | undefined,
  unit: string,
  condition: string | undefined,
): Promise<boolean> {
  if (command === undefined) return condition === undefined;
  return (await endOf(command, unit, HOOK_PATIENCE_MS, { FIELDSEAL_CONDITION: condition ?? '' })) === 0;
}

function stateOf(folder: string | undefined, path: string, several: boolean): string {
  if (folder === undefined) return `${path}.agent`;
  return several ? join(folder, basename(path)) : folder;
}

function folderAddress(option: string, text: string): URL {
  const url = webAddress(option, text);
  if (!url.pathname.endsWith('/')) url.pathname += '/';
  return url;
}

function webAddress(option: string, text: string): URL {
  const url = URL.canParse(text) ? new URL(text) : undefined;
  if (url && ['http:', 'https:'].includes(url.protocol)) return url;
  throw wrongUse(`--${option} ${text}: not an address that begins with http: or https:`);
}

/** How a command of the operator's ended; undefined where it could not be run, or took longer than `patience`. */
function endOf(
  command: string,
  unit: string,
  patience?: number,
  more: NodeJS.ProcessEnv = {},
): Promise<number | undefined> {
  return new Promise((resolve) => {
    const child = spawn(command, {
      shell: true,
      stdio: 'ignore',
      timeout: patience,
      env: { ...process.env, ...more, FIELDSEAL_UNIT: unit },
    });
    child.on('error', () => resolve(undefined));
    child.on('exit', (status) => resolve(status ?? undefined));
  });
}

async function restartBy(command: string, unit: string): Promise<void> {
  const status = await endOf(command, unit);
  if (status === 0) return;
  throw new CommandFailure(
    EXIT.notDone,
    'restart-failed',
    `the restart command ended with ${status ?? 'no status'}; what was installed starts when this program does`,
    'put the command right, or restart the machine by hand',
  );
}

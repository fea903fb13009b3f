import { statSync } from 'node:fs';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';
import type { Monitor } from '../../monitoring/index.ts';
import { openDesk } from '../../server/index.ts';
import type { Workspace } from '../../workspace/index.ts';
import { EXIT, wrongUse } from '../exit.ts';
import { monitorOf } from '../monitor.ts';
import { portOf } from '../port.ts';
import { openSession, trialMark } from '../session.ts';
import type { Call } from '../spec.ts';

const PAGES = fileURLToPath(new URL('../pages', import.meta.url));

/** Opens the desk and keeps it open until it is told to close. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const monitor = await monitorOf(call, { workspace });
  try {
    return await serve(call, workspace, monitor);
  } finally {
    await monitor?.close();
  }
}

async function serve(call: Call, workspace: Workspace, monitor: Monitor | undefined): Promise<number> {
  const desk = await openDesk({
    folder: workspace.root,
    pages: PAGES,
    address: call.text('address') ?? '127.0.0.1',
    name: call.text('name'),
    port: portOf(call),
    tls: tlsOf(call),
    depot: depotOf(call),
    complain: (error) => {
      call.out.caution(`a fault at the desk: ${toldOf(error)}`);
      monitor?.fault(error, 'a fault at the desk');
    },
    watch: (server) => monitor?.watch(server),
  });
  const link = desk.entryLink();
  call.out.line(`the desk is open at ${desk.origin}${trialMark(workspace)}`);
  call.out.line(link ? `enter, once: ${link}` : 'enter with an account');
  call.out.line('Ctrl-C closes it.');
  call.out.result({
    format: 'fieldseal.desk-open/1',
    origin: desk.origin,
    entry: link ?? null,
    metrics: monitor?.origin ?? null,
  });
  const stopAsking = offerLinks(call, () => desk.entryLink());
  await new Promise<void>((resolve) => {
    for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => resolve());
  });
  stopAsking();
  await desk.close();
  return EXIT.done;
}

/** At a terminal, each Enter gives a new link. */
function offerLinks(call: Call, entryLink: () => string | undefined): () => void {
  if (!process.stdin.isTTY) return () => {};
  const lines = createInterface({ input: process.stdin });
  lines.on('line', () => {
    const link = entryLink();
    if (link) call.out.line(`enter, once: ${link}`);
  });
  // Reading lines takes Ctrl-C away from the process: give it back.
  lines.on('SIGINT', () => process.kill(process.pid, 'SIGINT'));
  return () => lines.close();
}

function tlsOf(call: Call): { certificate: string; key: string } | undefined {
  const [certificate, key] = [call.text('tls-certificate'), call.text('tls-key')];
  if (certificate !== undefined && key !== undefined) return { certificate, key };
  if (certificate === undefined && key === undefined) return undefined;
  throw wrongUse('--tls-certificate and --tls-key go together', 'give both, or neither');
}

/** A depot that is not there yet is made by the first broadcast. */
function depotOf(call: Call): string | undefined {
  const folder = call.text('depot');
  if (folder === undefined || (statSync(folder, { throwIfNoEntry: false })?.isDirectory() ?? true))
    return folder;
  throw wrongUse(`--depot ${folder} is a file, not a folder`, 'name the folder that units fetch from');
}

function toldOf(error: unknown): string {
  return error instanceof Error ? (error.stack ?? error.message) : String(error);
}

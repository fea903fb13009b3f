import { existsSync, readFileSync } from 'node:fs';
import type { RequestListener } from 'node:http';
import type { AddressInfo } from 'node:net';
import { serveDepot } from '../../broadcast/index.ts';
import { Intake, Newcomers, reportListener } from '../../fleet/index.ts';
import type { Monitor } from '../../monitoring/index.ts';
import { CommandFailure, EXIT, wrongUse } from '../exit.ts';
import { toFailure } from '../failures.ts';
import { openFleetOf } from '../fleet.ts';
import { monitorOf } from '../monitor.ts';
import { portOf } from '../port.ts';
import { openSession } from '../session.ts';
import type { Call } from '../spec.ts';

const noDepot = (folder: string) =>
  new CommandFailure(
    EXIT.notDone,
    'file-missing',
    `cannot use ${folder}: there is no such folder`,
    'check the path, or fill a new depot with "fieldseal announce"',
  );

/** Serves a depot until it is told to stop. */
export async function run(call: Call): Promise<number> {
  const folder = call.args[0]!;
  if (!existsSync(folder)) throw noDepot(folder);
  let monitor: Monitor | undefined;
  const trouble = (error: unknown) => {
    call.out.caution(`reports are not taken now: ${toFailure(error).message}`);
    monitor?.fault(error, 'reports are not taken now');
  };
  const taking = call.flag('fleet') ? await takeReports(call, trouble) : undefined;
  try {
    monitor = await monitorOf(call, taking?.watched ?? { workspace: undefined });
    await serve(call, folder, taking?.listener, monitor);
    return EXIT.done;
  } finally {
    await monitor?.close();
    await taking?.close();
  }
}

async function serve(
  call: Call,
  folder: string,
  reports: RequestListener | undefined,
  monitor: Monitor | undefined,
): Promise<void> {
  const tls = tlsOf(call);
  const port = portOf(call);
  const address = call.text('address') ?? '127.0.0.1';
  const server = serveDepot({ folder, tls, reports });
  monitor?.watch(server);
  await new Promise<void>((resolve, reject) => {
    server.once('error', (error: NodeJS.ErrnoException) =>
      reject(
        new CommandFailure(
          EXIT.notDone,
          'address-taken',
          `the depot cannot listen on ${address} (${error.code})`,
          'choose another port with --port',
        ),
      ),
    );
    server.listen(port, address, () => resolve());
  });
  const { port: opened } = server.address() as AddressInfo;
  const origin = `${tls ? 'https' : 'http'}://${address.includes(':') ? `[${address}]` : address}:${opened}`;
  call.out.line(`depot ${folder} is served at ${origin}; Ctrl-C ends it`);
  call.out.result({ format: 'fieldseal.depot-served/1', origin, metrics: monitor?.origin ?? null });
  await new Promise<void>((resolve) => {
    for (const signal of ['SIGINT', 'SIGTERM'] as const) process.once(signal, () => resolve());
  });
  server.closeAllConnections();
  server.close();
}

/** Takes reports into the fleet of the workspace; the units on record are in it from the start, and later ones when they report. */
async function takeReports(call: Call, trouble: (error: unknown) => void) {
  const session = await openSession(call);
  const store = await openFleetOf(session);
  const newcomers = new Newcomers(session.workspace, store);
  const added = await newcomers.enter();
  if (added > 0) call.out.line(`${added} units on record are new in the fleet`);
  const intake = new Intake(session, store, newcomers);
  const listener = reportListener(intake, trouble);
  const close = async () => {
    await store.close();
    const told = Object.entries(intake.counts).map(([outcome, count]) => `${count} ${outcome}`);
    call.out.line(`reports: ${told.join(', ')}`);
  };
  const watched = { workspace: session.workspace, store, reports: intake.counts };
  return { listener, watched, close };
}

function tlsOf(call: Call): { cert: Buffer; key: Buffer } | undefined {
  const [certificate, key] = [call.text('tls-certificate'), call.text('tls-key')];
  if (certificate !== undefined && key !== undefined)
    return { cert: readFileSync(certificate), key: readFileSync(key) };
  if (certificate === undefined && key === undefined) return undefined;
  throw wrongUse('--tls-certificate and --tls-key go together', 'give both, or neither');
}

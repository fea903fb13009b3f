import { readFileSync } from 'node:fs';
import { createServer as createHttpServer, type Server } from 'node:http';
import { createServer as createHttpsServer } from 'node:https';
import type { AddressInfo } from 'node:net';
import { createAdaptorServer } from '@hono/node-server';
import { Depot } from '../broadcast/index.ts';
import { openWorkspace } from '../workspace/index.ts';
import { Accounts } from './access/accounts.ts';
import { Entry } from './access/entry.ts';
import { RateLimit } from './access/rate.ts';
import { Sessions } from './access/sessions.ts';
import { makeApp } from './app.ts';
import type { Desk } from './context.ts';
import { DeskError } from './error.ts';
import { statusOf } from './explain.ts';
import { Fleet } from './held/fleet.ts';
import { Jobs } from './held/jobs.ts';
import { Plays } from './held/plays.ts';
import { Unlocked } from './held/unlocked.ts';
import { Uploads } from './held/uploads.ts';

/** How a desk is opened. */
export interface DeskOptions {
  /** The workspace's folder. */
  readonly folder: string;
  /** Folder of the built pages. */
  readonly pages: string;
  /** Address to listen on; anything but loopback needs `tls` and accounts. */
  readonly address: string;
  /** 0 for one that is free. */
  readonly port: number;
  /** Certificate chain and private key, PEM files. */
  readonly tls?: { readonly certificate: string; readonly key: string } | undefined;
  /** The name that browsers use, where the desk listens beyond this machine. */
  readonly name?: string | undefined;
  /** Folder of the depot that broadcasts begun at the desk put their files into. */
  readonly depot?: string | undefined;
  /** Told what nobody foresaw. */
  complain(error: unknown): void;
  /** Given the server before it listens, to watch it. */
  watch?(server: Server): void;
}

/** An open desk. */
export interface OpenDesk {
  readonly origin: string;
  /** A link that lets one browser in, once; undefined where accounts are needed. */
  entryLink(): string | undefined;
  close(): Promise<void>;
}

const LOOPBACK = new Set(['127.0.0.1', '::1', 'localhost']);
const REQUESTS = { burst: 300, perSecond: 100 };
const ATTEMPTS = { burst: 5, perSecond: 1 / 12 };
const REQUEST_TIMEOUT_MS = 120_000;

/** Opens a desk and listens. Throws `DeskError` address-open, address-taken; `WorkspaceError`. */
export async function openDesk(options: DeskOptions): Promise<OpenDesk> {
  const workspace = await openWorkspace(options.folder);
  const accounts = new Accounts(workspace);
  const beyond = !LOOPBACK.has(options.address);
  if (beyond) requireClosedDoor(options, accounts);
  const now = () => Date.now();
  const [uploads, unlocked, plays] = [new Uploads(), new Unlocked(now), new Plays()];
  const sessions = new Sessions(now, (session) => {
    for (const part of [uploads, plays]) part.forget(session);
    unlocked.release(session);
  });
  const entry = new Entry(now);
  const parts = {
    open: beyond,
    cookie: beyond ? '__Host-fieldseal' : 'fieldseal-desk',
    sessions,
    entry,
    accounts,
    requests: new RateLimit(REQUESTS, now),
    attempts: new RateLimit(ATTEMPTS, now),
    uploads,
    unlocked,
    jobs: new Jobs((error) => statusOf(error) === 500 && options.complain(error)),
    plays,
    fleet: new Fleet(workspace),
    depot: options.depot === undefined ? undefined : new Depot(options.depot),
    workspace: () => openWorkspace(options.folder),
  };
  const app = makeApp(options.pages, options.complain);
  let desk: Desk;
  const server = createAdaptorServer({
    fetch: (request, env) => app.fetch(request, { ...env, desk }),
    createServer: options.tls ? createHttpsServer : createHttpServer,
    serverOptions: {
      ...(options.tls && { cert: readFileSync(options.tls.certificate), key: readFileSync(options.tls.key) }),
      requestTimeout: REQUEST_TIMEOUT_MS,
    },
  } as Parameters<typeof createAdaptorServer>[0]);
  options.watch?.(server as Server);
  await listen(server, options);
  desk = { ...parts, ...namesOf(options, (server.address() as AddressInfo).port) };
  return {
    origin: desk.origin,
    entryLink: () => (beyond ? undefined : `${desk.origin}/enter#${entry.renew()}`),
    close: () =>
      new Promise((resolve) => {
        sessions.endAll();
        uploads.close();
        server.close(() => parts.fleet.close().then(resolve));
        if ('closeAllConnections' in server) server.closeAllConnections();
      }),
  };
}

function requireClosedDoor({ address, tls }: DeskOptions, accounts: Accounts): void {
  if (!tls) {
    throw new DeskError(
      'address-open',
      `the desk would listen on ${address}, beyond this machine, without encryption`,
      'give --tls-certificate and --tls-key, or leave --address out to listen on this machine only',
    );
  }
  if (accounts.list().length === 0) {
    throw new DeskError(
      'address-open',
      `the desk would listen on ${address}, beyond this machine, and nobody has an account`,
      'make one first: fieldseal account add NAME --role owner',
    );
  }
}

function namesOf({ address, name, tls }: DeskOptions, port: number): Pick<Desk, 'origin' | 'hosts'> {
  const bracketed = address.includes(':') ? `[${address}]` : address;
  const own = name ?? bracketed;
  const usual = tls ? 443 : 80;
  const withPort = (host: string) => (port === usual ? host : `${host}:${port}`);
  const names = LOOPBACK.has(address) ? [own, 'localhost', '127.0.0.1', '[::1]'] : [own];
  return {
    origin: `${tls ? 'https' : 'http'}://${withPort(own)}`,
    hosts: new Set(names.map((host) => withPort(host).toLowerCase())),
  };
}

function listen(
  server: ReturnType<typeof createAdaptorServer>,
  { port, address }: DeskOptions,
): Promise<void> {
  return new Promise((resolve, reject) => {
    server.once('error', (error: NodeJS.ErrnoException) =>
      reject(
        new DeskError(
          'address-taken',
          `the desk cannot listen on ${address}, port ${port} (${error.code})`,
          'choose another port with --port, or 0 for one that is free',
        ),
      ),
    );
    server.listen(port, address, () => resolve());
  });
}

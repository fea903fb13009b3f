import { createServer, type Server, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';
import type { IntakeCounts } from '../fleet/index.ts';
import { type Log, openLog } from './log.ts';
import type { Looks } from './looks.ts';
import { Metrics, type WatchedFleet } from './metrics.ts';
import { watchRequests } from './requests.ts';

/** What is watched, and who is told. */
export interface MonitorOptions {
  /** A file to log to, or '-' for standard error; undefined: no log. */
  readonly log: string | undefined;
  /** Where figures and health are asked for; undefined: nowhere. 0 for a port that is free. */
  readonly listen: { readonly address: string; readonly port: number } | undefined;
  readonly fleet: WatchedFleet | undefined;
  /** How many reports came to what, where they are taken in. */
  readonly reports: IntakeCounts | undefined;
  /** What its looks came to, where it steers. */
  readonly looks?: Looks | undefined;
}

/** Watches a server while it serves. */
export interface Monitor {
  /** Where figures and health are asked for. */
  readonly origin: string | undefined;
  watch(server: Server): void;
  /** Puts something that happened, with facts for programs, into the log. */
  tell(facts: object, says: string): void;
  fault(error: unknown, says: string): void;
  close(): Promise<void>;
}

/** How long a store may take to answer before the process does not count as ready. */
const READY_WITHIN_MS = 3000;

/** Opens what the options ask for. Throws where it cannot listen or write. */
export async function openMonitor(options: MonitorOptions): Promise<Monitor> {
  const log = options.log === undefined ? undefined : await openLog(options.log);
  const metrics = options.listen && (await Metrics.open(options));
  const server = metrics && createServer((request, response) => void answer(request.url ?? '', response));
  if (server) await listen(server, options.listen!);
  log?.info({}, 'begun');
  return {
    origin: server && originOf(server),
    watch(watched) {
      watchRequests(watched, (request) => {
        metrics?.count(request);
        log?.info(request, 'answered');
      });
    },
    tell: (facts, says) => log?.info(facts, says),
    fault: (error, says) => log?.fault(error, says),
    async close() {
      log?.info({}, 'ended');
      log?.close();
      await new Promise((resolve) => {
        if (server) server.close(resolve).closeAllConnections();
        else resolve(undefined);
      });
    },
  };

  async function answer(url: string, response: ServerResponse): Promise<void> {
    if (url === '/metrics') await tellMetrics(response, metrics!, log);
    else if (url === '/health/live') send(response, 200, 'live\n');
    else if (url === '/health/ready') await tellReady(response, options, log);
    else send(response, 404, 'there are /metrics, /health/live and /health/ready\n');
  }
}

async function tellMetrics(response: ServerResponse, metrics: Metrics, log: Log | undefined): Promise<void> {
  try {
    send(response, 200, await metrics.text(), metrics.contentType);
  } catch (error) {
    log?.fault(error, 'the figures could not be read');
    send(response, 503, 'the fleet store does not answer\n');
  }
}

/** Live and able to do its work: the store answers, and who steers has looked lately. */
async function tellReady(
  response: ServerResponse,
  { fleet, looks }: MonitorOptions,
  log: Log | undefined,
): Promise<void> {
  try {
    if (fleet) await inTime(fleet.store.leases());
    const fault = looks?.fault();
    if (fault === undefined) send(response, 200, 'ready\n');
    else send(response, 503, `not ready: ${fault}\n`);
  } catch (error) {
    log?.fault(error, 'not ready: the fleet store does not answer');
    send(response, 503, 'not ready: the fleet store does not answer\n');
  }
}

async function inTime(work: Promise<unknown>): Promise<void> {
  let timer: NodeJS.Timeout | undefined;
  const late = new Promise((_, reject) => {
    timer = setTimeout(() => reject(new Error('no answer in time')), READY_WITHIN_MS);
  });
  await Promise.race([work, late]).finally(() => clearTimeout(timer));
}

function send(
  response: ServerResponse,
  status: number,
  text: string,
  type = 'text/plain; charset=utf-8',
): void {
  const headers = { 'content-type': type, 'cache-control': 'no-store', 'x-content-type-options': 'nosniff' };
  response.writeHead(status, { ...headers, 'content-length': Buffer.byteLength(text) });
  response.end(text);
}

function listen(server: Server, { address, port }: { address: string; port: number }): Promise<void> {
  return new Promise((resolve, reject) => {
    server.once('error', reject);
    server.listen(port, address, () => resolve());
  });
}

function originOf(server: Server): string {
  const { address, port } = server.address() as AddressInfo;
  return `http://${address.includes(':') ? `[${address}]` : address}:${port}`;
}

import { existsSync } from 'node:fs';
import { type FleetStore, fleetPlace, type IntakeCounts, openFleet } from '../fleet/index.ts';
import { type Looks, type Monitor, openMonitor } from '../monitoring/index.ts';
import type { Workspace } from '../workspace/index.ts';
import { CommandFailure, EXIT, wrongUse } from './exit.ts';
import { classIdsOf } from './fleet.ts';
import type { Call } from './spec.ts';

const HIGHEST_PORT = 65_535;

/** What a command that serves has to be watched with. */
export interface Watched {
  /** Undefined where no workspace is needed: no fleet is told of then. */
  readonly workspace: Workspace | undefined;
  /** The store where the command has opened one. */
  readonly store?: FleetStore | undefined;
  readonly reports?: IntakeCounts | undefined;
  /** What its looks came to, where it steers. */
  readonly looks?: Looks | undefined;
}

/** Opens the monitoring that --metrics-port and --log ask for; undefined without either. */
export async function monitorOf(call: Call, watched: Watched): Promise<Monitor | undefined> {
  const port = call.count('metrics-port');
  const log = call.text('log');
  if (port !== undefined && port > HIGHEST_PORT)
    throw wrongUse(`--metrics-port ${port}: ports end at ${HIGHEST_PORT}`);
  if (port === undefined && call.text('metrics-address') !== undefined)
    throw wrongUse('--metrics-address needs --metrics-port', 'give a port, or 0 for one that is free');
  if (port === undefined && log === undefined) return undefined;
  const fleet = port === undefined ? undefined : await fleetOf(watched);
  const address = call.text('metrics-address') ?? '127.0.0.1';
  const monitor = await openMonitor({
    log,
    listen: port === undefined ? undefined : { address, port },
    fleet,
    reports: watched.reports,
    looks: watched.looks,
  }).catch((error: NodeJS.ErrnoException) => {
    const what = `monitoring cannot begin (${error.code ?? error.message})`;
    throw new CommandFailure(
      EXIT.notDone,
      'monitoring',
      what,
      'check --metrics-port, --metrics-address and --log',
    );
  });
  if (monitor.origin)
    call.out.line(`figures at ${monitor.origin}/metrics, health at ${monitor.origin}/health/ready`);
  return {
    ...monitor,
    async close() {
      await monitor.close();
      if (fleet && fleet.store !== watched.store) await fleet.store.close();
    },
  };
}

/** The fleet of the workspace, where there is one. */
async function fleetOf({ workspace, store }: Watched) {
  if (!workspace) return undefined;
  const place = fleetPlace(workspace);
  if (!store && !place.includes('://') && !existsSync(place)) return undefined;
  const names = new Map([...(await classIdsOf(workspace))].map(([name, id]) => [id, name]));
  return { store: store ?? (await openFleet(place)), classNamed: (id: string) => names.get(id) ?? id };
}

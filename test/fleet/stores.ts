import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe } from 'vitest';
import { type FleetStore, openFleet } from '../../src/fleet/index.ts';
import { Cluster, POSTGRES_PRESENT } from './cluster.ts';

/** Where stores of a suite are. */
export interface Stores {
  /** A place for a store that nobody used before. */
  place(): string;
  /** Opens a store there, or at a new place; it is closed after the test. */
  open(place?: string, now?: () => Date): Promise<FleetStore>;
  /** A path that nothing is at. */
  path(name: string): string;
}

/** One suite, run on both databases. */
export function onBoth(title: string, suite: (stores: Stores, cluster: Cluster | undefined) => void): void {
  describe(`${title}, on SQLite`, () => {
    suite(
      storesAt((folder, nth) => join(folder, `fleet-${nth}.sqlite`)),
      undefined,
    );
  });
  describe.skipIf(!POSTGRES_PRESENT)(`${title}, on PostgreSQL`, () => {
    if (!POSTGRES_PRESENT) return;
    const cluster = new Cluster();
    beforeAll(() => cluster.start());
    afterAll(() => cluster.end());
    suite(
      storesAt(() => cluster.database()),
      cluster,
    );
  });
}

function storesAt(placeOf: (folder: string, nth: number) => string): Stores {
  const folder = mkdtempSync(join(process.env.FIELDSEAL_E2E ?? tmpdir(), 'fleet-'));
  const opened: FleetStore[] = [];
  let nth = 0;
  const place = () => {
    nth += 1;
    return placeOf(folder, nth);
  };
  afterEach(async () => {
    for (const store of opened.splice(0)) await store.close();
  });
  afterAll(() => rmSync(folder, { recursive: true, force: true }));
  return {
    place,
    async open(at = place(), now) {
      const store = await openFleet(at, now && { now });
      opened.push(store);
      return store;
    },
    path: (name) => join(folder, name),
  };
}

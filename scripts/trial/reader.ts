import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fromHex } from '../../src/bytes/index.ts';
import { type FleetStore, type FleetUnit, openFleet } from '../../src/fleet/index.ts';
import { memoryStore, openUnit, openUnitFile } from '../../src/unit/index.ts';
import type { Field, TrialRelease } from './field.ts';

/** What lies in a unit's flash and starts there. */
export interface FoundUnit {
  readonly serial: string;
  readonly device: string;
  /** The release whose image runs, byte for byte; undefined where it is none of them. */
  readonly runs: TrialRelease | undefined;
  readonly state: string;
}

/** What the books say at the end. */
export interface FoundBooks {
  readonly units: ReadonlyMap<string, FleetUnit>;
  /** SHA-256 of all reports that are in them. */
  readonly reports: ReadonlySet<string>;
}

const CALM = { noise: () => 0.5 };

/** Reads every unit file anew: the start code decides what starts, and the flash is compared with the images themselves. */
export function readUnits({ folders, releases }: Field): FoundUnit[] {
  return folders.flatMap((folder) =>
    readdirSync(folder)
      .filter((name) => name.endsWith('.unit'))
      .map((name) => readUnit(join(folder, name), releases)),
  );
}

/** Over a copy: what is found out changes nothing. */
function readUnit(path: string, releases: readonly TrialRelease[]): FoundUnit {
  const bytes = readFileSync(path);
  const store = memoryStore(bytes.length);
  store.write(0, bytes);
  const file = openUnitFile(store);
  const { record, marksKey, memory } = file;
  const flash = file.flash(CALM);
  const key = 'trial_hex' in marksKey ? fromHex(marksKey.trial_hex) : new Uint8Array(0);
  const unit = openUnit({ record, macKeys: new Map(), marksKey: key, flash, memory });
  const { started } = unit.start();
  const slot = typeof memory.running === 'number' ? unit.layout.slots[memory.running] : undefined;
  const runs =
    started && slot
      ? releases.find(({ image }) => image.equals(flash.read(slot.offset, image.length)))
      : undefined;
  const device = record.device_id.replaceAll('-', '');
  return { serial: record.serial, device, runs, state: started?.state ?? 'nothing starts' };
}

/** Reads the books through a connection of its own, after the server is gone. */
export async function readBooks(place: string): Promise<FoundBooks> {
  const store = await openFleet(place);
  try {
    const units = new Map<string, FleetUnit>();
    const reports = new Set<string>();
    for await (const unit of store.exportUnits()) {
      units.set(unit.device, unit);
      for (const id of await reportsOf(store, unit)) reports.add(id);
    }
    return { units, reports };
  } finally {
    await store.close();
  }
}

async function reportsOf(store: FleetStore, unit: FleetUnit): Promise<string[]> {
  const ids: string[] = [];
  for (let after: string | undefined; ; ) {
    const page = await store.history(unit, { limit: 500, ...(after !== undefined && { after }) });
    for (const entry of page.items) if (entry.kind === 'report') ids.push(entry.id);
    if (page.next === undefined) return ids;
    after = page.next;
  }
}

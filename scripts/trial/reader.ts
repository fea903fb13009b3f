import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fromHex, toHex } from '../../src/bytes/index.ts';
import {
  type Broadcast,
  type FleetEvent,
  type FleetStore,
  type FleetUnit,
  openFleet,
  type Wave,
} from '../../src/fleet/index.ts';
import { memoryStore, openUnit, openUnitFile } from '../../src/unit/index.ts';
import type { Field, TrialRelease } from './field.ts';

/** What lies in a unit's flash and starts there. */
export interface FoundUnit {
  readonly serial: string;
  readonly device: string;
  /** The release whose image runs, byte for byte; undefined where it is none of them. */
  readonly runs: TrialRelease | undefined;
  readonly state: string;
  /** Digests of the manifests that the unit's own marks tell of: in a slot, or fallen back from. */
  readonly met: ReadonlySet<string>;
}

/** A broadcast as the books have it, with its waves and what stands of it in the journal. */
export interface FoundBroadcast extends Broadcast {
  readonly waves: readonly Wave[];
  readonly events: readonly FleetEvent[];
}

/** What the books say at the end. */
export interface FoundBooks {
  readonly units: ReadonlyMap<string, FleetUnit>;
  /** All reports that are in them, by SHA-256. */
  readonly reports: ReadonlyMap<string, FoundReport>;
  /** Oldest first. */
  readonly broadcasts: readonly FoundBroadcast[];
}

export interface FoundReport {
  readonly device: string;
  readonly at: Date;
  readonly about: string | undefined;
}

const CALM = { noise: () => 0.5 };
const MOST_EVENTS = 1000;

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
  const marks = unit.marks();
  const told = [...(marks?.slots ?? []).filter(({ state }) => state !== 'empty'), ...(marks?.fallen ?? [])];
  const { started } = unit.start();
  const slot = typeof memory.running === 'number' ? unit.layout.slots[memory.running] : undefined;
  const runs =
    started && slot
      ? releases.find(({ image }) => image.equals(flash.read(slot.offset, image.length)))
      : undefined;
  return {
    serial: record.serial,
    device: record.device_id.replaceAll('-', ''),
    runs,
    state: started?.state ?? 'nothing starts',
    met: new Set(told.map(({ manifestDigest }) => toHex(manifestDigest))),
  };
}

/** Reads the books through a connection of its own, after the server is gone. */
export async function readBooks(place: string): Promise<FoundBooks> {
  const store = await openFleet(place);
  try {
    const units = new Map<string, FleetUnit>();
    const reports = new Map<string, FoundReport>();
    for await (const unit of store.exportUnits()) {
      units.set(unit.device, unit);
      await readHistory(store, unit, reports);
    }
    const broadcasts = await Promise.all(
      (await store.broadcasts()).reverse().map((each) => whole(store, each)),
    );
    return { units, reports, broadcasts };
  } finally {
    await store.close();
  }
}

async function whole(store: FleetStore, broadcast: Broadcast): Promise<FoundBroadcast> {
  const { id } = broadcast;
  const events = await store.events({ broadcast: id, limit: MOST_EVENTS });
  return { ...broadcast, waves: await store.waves(id), events };
}

async function readHistory(
  store: FleetStore,
  unit: FleetUnit,
  reports: Map<string, FoundReport>,
): Promise<void> {
  const { device } = unit;
  for (let after: string | undefined; ; ) {
    const page = await store.history(unit, { limit: 500, ...(after !== undefined && { after }) });
    for (const entry of page.items)
      if (entry.kind === 'report')
        reports.set(entry.id, { device, at: entry.at, about: entry.manifestDigest });
    if (page.next === undefined) return;
    after = page.next;
  }
}

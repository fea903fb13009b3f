import type { Core } from './core.ts';
import type { EventRecord } from './tables.ts';
import type { EventQuery, FleetEvent } from './types.ts';

const USUAL = 100;
const MOST = 1000;

/** Entries of the journal, from `after` on in the order that is asked for. */
export async function readEvents(core: Core, query: EventQuery = {}): Promise<FleetEvent[]> {
  const { broadcast, device, withoutUnits, after, newestFirst = false, limit = USUAL } = query;
  let found = core.db.selectFrom('events').selectAll();
  if (broadcast !== undefined) found = found.where('broadcast', '=', broadcast);
  if (device !== undefined) found = found.where('device', '=', device);
  if (withoutUnits) found = found.where('device', 'is', null);
  if (after !== undefined) found = found.where('seq', newestFirst ? '<' : '>', after);
  const rows = await found
    .orderBy('seq', newestFirst ? 'desc' : 'asc')
    .limit(Math.min(limit, MOST))
    .execute();
  return rows.map(eventOf);
}

export function eventOf(row: EventRecord): FleetEvent {
  return {
    seq: row.seq,
    at: new Date(row.at),
    kind: row.kind,
    broadcast: row.broadcast ?? undefined,
    wave: row.wave ?? undefined,
    device: row.device ?? undefined,
    who: row.who,
    text: row.text,
  };
}

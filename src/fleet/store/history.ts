import type { Core } from './core.ts';
import { FleetError } from './error.ts';
import { eventOf } from './events.ts';
import { reportOf } from './told.ts';
import type { HistoryEntry, Page, UnitName } from './types.ts';
import { findRow } from './units.ts';

const USUAL = 50;
const MOST = 1000;
/** `TIME.KIND.NUMBER` of the last entry: entries of one moment stand in the order of their kinds and numbers. */
const CURSOR = /^(\d{1,16})\.([0-2])\.(\d{1,16})$/;

type Place = readonly [at: number, kind: number, no: number];
type Placed = readonly [place: Place, entry: HistoryEntry];

/** What is known of the life of a unit, newest first. Throws `FleetError` query-malformed. */
export async function readHistory(
  core: Core,
  name: UnitName,
  { after, limit = USUAL }: { after?: string | undefined; limit?: number | undefined } = {},
): Promise<Page<HistoryEntry>> {
  const unit = await findRow(core.db, name);
  if (!unit) return { items: [], next: undefined };
  const from = placeOf(after);
  const most = Math.min(Math.max(limit, 1), MOST);
  const found = [
    ...(await reports(core, unit.no, from, most)),
    ...(await attestations(core, unit.no, from, most)),
    ...(await events(core, name.device, from, most)),
  ].sort(([a], [b]) => b[0] - a[0] || b[1] - a[1] || b[2] - a[2]);
  const page = found.slice(0, most);
  const last = page.at(-1);
  return {
    items: page.map(([, entry]) => entry),
    next: last && found.length >= most ? last[0].join('.') : undefined,
  };
}

function placeOf(after: string | undefined): Place {
  if (after === undefined) return [Number.MAX_SAFE_INTEGER, 0, 0];
  const parts = CURSOR.exec(after);
  if (parts) return [Number(parts[1]), Number(parts[2]), Number(parts[3])];
  throw new FleetError('query-malformed', 'that page does not exist', 'begin with the first page');
}

/** Of entries of the very moment at which the page begins, those of this kind that come after its place. */
function boundary([, kind, no]: Place, own: number): number {
  if (own === kind) return no;
  return own < kind ? Number.MAX_SAFE_INTEGER : 0;
}

async function reports({ db }: Core, unitNo: number, from: Place, limit: number): Promise<Placed[]> {
  const rows = await db
    .selectFrom('reports')
    .selectAll()
    .where('unit_no', '=', unitNo)
    .where((is) =>
      is.or([is('at', '<', from[0]), is.and([is('at', '=', from[0]), is('no', '<', boundary(from, 2))])]),
    )
    .orderBy('at', 'desc')
    .orderBy('no', 'desc')
    .limit(limit)
    .execute();
  return rows.map((row) => [[row.at, 2, row.no], { kind: 'report', ...reportOf(row) }]);
}

async function attestations({ db }: Core, unitNo: number, from: Place, limit: number): Promise<Placed[]> {
  const rows = await db
    .selectFrom('attestations')
    .selectAll()
    .where('unit_no', '=', unitNo)
    .where((is) =>
      is.or([is('at', '<', from[0]), is.and([is('at', '=', from[0]), is('no', '<', boundary(from, 1))])]),
    )
    .orderBy('at', 'desc')
    .orderBy('no', 'desc')
    .limit(limit)
    .execute();
  return rows.map(({ no, id, at, verdict, refusal }) => [
    [at, 1, no],
    { kind: 'attestation', id, at: new Date(at), verdict, refusal: refusal ?? undefined },
  ]);
}

async function events({ db }: Core, device: string, from: Place, limit: number): Promise<Placed[]> {
  const rows = await db
    .selectFrom('events')
    .selectAll()
    .where('device', '=', device)
    .where((is) =>
      is.or([is('at', '<', from[0]), is.and([is('at', '=', from[0]), is('seq', '<', boundary(from, 0))])]),
    )
    .orderBy('at', 'desc')
    .orderBy('seq', 'desc')
    .limit(limit)
    .execute();
  return rows.map((row) => {
    const { seq, at, who, text } = eventOf(row);
    return [[row.at, 0, seq], { kind: 'event', seq, at, who, text }];
  });
}

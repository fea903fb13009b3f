/** The field over the desk's API: what is asked for, who may order, and what ends with a session. */
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import { type FleetStore, openFleet } from '../../src/fleet/index.ts';
import { deviceId } from '../../src/provision/index.ts';
import { Sessions } from '../../src/server/access/sessions.ts';
import { Accounts } from '../../src/server/index.ts';
import { formatUuid } from '../../src/suit/index.ts';
import { openWorkspace, readClass, writeRecord } from '../../src/workspace/index.ts';
import { enter, makeWorkspace, type Opened, OWN, openTestDesk } from './opened.ts';

let opened: Opened;
let store: FleetStore;
let headers: Record<string, string>;
let classId: string;

const OTHER_CLASS = 'f'.repeat(32);
const device = (n: number) => n.toString(16).padStart(32, '0');

beforeAll(async () => {
  opened = await openTestDesk();
  headers = await enter(opened);
  const workspace = await openWorkspace(opened.folder);
  classId = toHex((await readClass(workspace, 'vent')).classId);
});
afterAll(async () => {
  await opened.desk.close();
  await store?.close();
});

const get = async (path: string) => {
  const answer = await opened.ask(`/api/v1${path}`, { headers });
  // biome-ignore lint/suspicious/noExplicitAny: documents of many shapes, read field by field
  return { status: answer.status, json: (await answer.json()) as any };
};

describe('the field over the API', () => {
  it('before units were brought in, nothing is made and the next step is told', async () => {
    for (const path of ['/fleet', '/fleet/units', '/broadcasts', '/broadcasts/1']) {
      const { status, json } = await get(path);
      expect([path, status, json.error.code]).toEqual([path, 404, 'not-there']);
      expect(json.error.hint).toContain('fleet import');
    }
  });

  it('the first plan of waves puts units on record into the fleet, as at the command line', async () => {
    const draft = () =>
      opened.ask('/api/v1/broadcasts/drafts', { method: 'POST', headers, body: '{"class":"vent"}' });
    expect((await draft()).status).toBe(404);
    const folder = await makeWorkspace();
    const workspace = await openWorkspace(folder);
    const { classIds } = await readClass(workspace, 'vent');
    const class_ids = classIds.map(formatUuid);
    const facts = { class_ids, device_id: deviceId({ class_ids }, '0007'), serial: '0007', batch: 'b-1' };
    writeRecord(workspace, {
      ...{ folder: 'units', name: ['vent', '0007'], kind: 'unit-provisioned', summary: {} },
      facts: { format: 'fieldseal.unit-record/1', ...facts },
    });
    const other = await openTestDesk({ folder });
    try {
      const mine = await enter(other);
      const ask = (path: string, body?: string) =>
        other.ask(`/api/v1${path}`, { headers: mine, ...(body && { method: 'POST', body }) });
      const answer = await ask('/broadcasts/drafts', '{"class":"vent"}');
      expect(((await answer.json()) as { plan: string }).plan).toContain('- "0007"');
      expect(await (await ask('/fleet')).json()).toMatchObject({ units: 1 });
    } finally {
      await other.desk.close();
    }
  });

  it('units are counted and found, also of a class that the workspace does not have', async () => {
    store = await openFleet(join(opened.folder, 'private', 'fleet.sqlite'));
    await store.importUnits([
      { classId, device: device(1), serial: '=cmd|calc', group: 'north, "old"', version: '1.0.0' },
      { classId, device: device(2), serial: '0002' },
      { classId: OTHER_CLASS, device: device(3), serial: '0003' },
    ]);
    const { json } = await get('/fleet');
    expect(json).toMatchObject({ units: 3, by_state: { unheard: 3 } });
    expect(json.by_class).toContainEqual({ class: 'vent', class_id: classId, units: 2 });
    expect(json.by_class).toContainEqual({ class: null, class_id: OTHER_CLASS, units: 1 });
    expect((await get('/fleet/units?class=vent&limit=1')).json.units).toHaveLength(1);
    expect((await get(`/fleet/units?class=${OTHER_CLASS}`)).json.units[0].serial).toBe('0003');
    const first = (await get('/fleet/units?class=vent&limit=1')).json;
    const second = (await get(`/fleet/units?class=vent&limit=1&after=${first.next}`)).json;
    expect(second.units[0].device).not.toBe(first.units[0].device);
    expect((await get(`/fleet/units/vent/${device(2)}`)).json.unit.serial).toBe('0002');
  });

  it('what is not asked as it must be is refused', async () => {
    for (const query of ['state=gone', 'limit=0', 'limit=5000', 'class=../etc', 'silent_days=-1', 'wave=x'])
      expect([query, (await get(`/fleet/units?${query}`)).status]).toEqual([query, 400]);
    expect((await get('/fleet/units?after=nonsense')).status).toBe(422);
    expect((await get(`/fleet/units/vent/${device(9)}`)).status).toBe(404);
  });

  it('CSV is quoted (RFC 4180), and no cell is a formula to a spreadsheet', async () => {
    const answer = await opened.ask('/api/v1/fleet/units.csv?class=vent', { headers });
    expect(answer.headers.get('content-disposition')).toBe('attachment; filename="units.csv"');
    const lines = (await answer.text()).split('\r\n');
    expect(lines).toHaveLength(4);
    expect(lines.find((line) => line.includes('cmd'))).toMatch(
      /^vent,'=cmd\|calc,[0-9a-f-]{36},"north, ""old""",/,
    );
  });

  it('only who may operate gives orders, and a broadcast that is not there takes none', async () => {
    const order = { order: 'halt', why: 'a test', revision: 1 };
    const give = (more: Record<string, string>) =>
      opened.ask('/api/v1/broadcasts/1/orders', {
        method: 'POST',
        headers: { ...OWN, ...more },
        body: JSON.stringify(order),
      });
    const accounts = new Accounts(await openWorkspace(opened.folder));
    const token = accounts.addProgram('watcher', 'reader');
    expect((await give({ authorization: `Bearer ${token}` })).status).toBe(403);
    expect((await give(headers)).status).toBe(404);
  });

  it('a session that only listens ends all the same', () => {
    let now = 0;
    const sessions = new Sessions(
      () => now,
      () => {},
    );
    const secret = sessions.begin('mira', 'reader');
    const session = sessions.find(secret)!;
    for (let minute = 0; minute < 119; minute++) {
      now += 60_000;
      expect(sessions.lives(session)).toBe(true);
    }
    now += 120_000;
    expect(sessions.lives(session)).toBe(false);
  });
});

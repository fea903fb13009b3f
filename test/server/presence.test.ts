/** Who listens at the desk is told nothing more once they may no longer: the session has ended, or the account is gone. */
import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import { type FleetStore, openFleet } from '../../src/fleet/index.ts';
import { courseJson } from '../../src/fleet/waves/course/course.ts';
import { programSession, whileHere } from '../../src/server/access/presence.ts';
import { Sessions } from '../../src/server/access/sessions.ts';
import { Jobs } from '../../src/server/held/jobs.ts';
import { Accounts } from '../../src/server/index.ts';
import { initWorkspace, openWorkspace, readClass } from '../../src/workspace/index.ts';
import { plan } from '../fleet/plans.ts';
import { enter, type Opened, openTestDesk } from './opened.ts';

const PASSWORD = new TextEncoder().encode('four random words here');
const FILE = { digest: new Uint8Array(32), size: 1, uri: 'vent.suit' };
const COURSE = {
  lot: new Uint8Array(16),
  named: [],
  offer: { manifestDigest: new Uint8Array(32), sequenceNumber: 7n, envelope: FILE, images: [] },
  steppingStones: [],
};

describe('a stream of events over HTTP', () => {
  let opened: Opened;
  let store: FleetStore;
  let accounts: Accounts;
  let live: string;

  beforeAll(async () => {
    opened = await openTestDesk();
    const workspace = await openWorkspace(opened.folder);
    accounts = new Accounts(workspace);
    const classId = toHex((await readClass(workspace, 'vent')).classId);
    store = await openFleet(join(opened.folder, 'private', 'fleet.sqlite'));
    await store.importUnits([{ classId, device: '1'.padStart(32, '0'), serial: '0001' }]);
    const { id } = await store.createBroadcast({
      classId,
      release: { manifestDigest: 'a'.repeat(64), sequence: 7n, version: '1.5.0' },
      plan: courseJson({ ...COURSE, plan: await plan() }),
      waves: [{ number: 1, name: 'everyone', reach: { kind: 'share', permille: 1000 } }],
      who: 'ada',
    });
    live = `/api/v1/broadcasts/${id}/live`;
  });
  afterAll(async () => {
    await opened.desk.close();
    await store.close();
  });

  /** Reads the first event, does something, then reads to the end of the stream. */
  const untilEnd = async (headers: Record<string, string>, meanwhile: () => unknown) => {
    const answer = await opened.ask(live, { headers });
    const reader = answer.body!.getReader();
    const first = new TextDecoder().decode((await reader.read()).value);
    await meanwhile();
    while (!(await reader.read()).done);
    return [answer.status, first.includes('event: standing')];
  };

  it('ends when its session is left', async () => {
    const headers = await enter(opened);
    const leave = () => opened.ask('/api/v1/session', { method: 'DELETE', headers });
    expect(await untilEnd(headers, leave)).toEqual([200, true]);
  });

  it("ends when the program's account is removed, also where another takes its name", async () => {
    const headers = { authorization: `Bearer ${accounts.addProgram('watcher', 'reader')}` };
    const replace = () => {
      accounts.remove('watcher');
      accounts.addProgram('watcher', 'reader');
    };
    expect(await untilEnd(headers, replace)).toEqual([200, true]);
    expect((await opened.ask(live, { headers })).status).toBe(401);
  });
});

describe('who is at the desk', () => {
  const workspace = initWorkspace(join(mkdtempSync(join(tmpdir(), 'presence-')), 'ws'), {
    vendorDomain: 'hollinridge.example',
  });
  const accounts = new Accounts(workspace);
  const sessions = new Sessions(Date.now, () => {});
  const desk = { sessions, accounts };

  /** Watches a job that never ends, until it is told nothing more. */
  const watch = async (session: Parameters<Jobs['watch']>[0]) => {
    const jobs = new Jobs(() => {});
    const id = jobs.start(session, () => new Promise(() => {}));
    return whileHere(desk, session, new AbortController().signal, async (signal) => {
      const told = [];
      for await (const { event } of jobs.watch(session, id)(signal)) told.push(event);
      return told;
    });
  };

  it('watches a job no longer than their account stands in the same role', async () => {
    await accounts.addPerson('mira', 'operator', PASSWORD);
    const { password } = (await accounts.byPassword('mira', PASSWORD))!;
    const session = sessions.find(sessions.begin('mira', 'operator', password!.hash))!;
    const watching = watch(session);
    accounts.remove('mira');
    await accounts.addPerson('mira', 'operator', PASSWORD);
    expect(await watching).toEqual(['progress']);
    expect(sessions.lives(session)).toBe(true);
  });

  it('is nobody where the accounts cannot be read', async () => {
    const token = accounts.addProgram('builder', 'requester');
    const watching = watch(programSession(accounts.byToken(token)!));
    workspace.files.replace(workspace.path('private', 'desk-accounts.json'), 'not JSON');
    expect(await watching).toEqual(['progress']);
  });
});

/** Steps of a response that the desk does: only for whoever confirms what follows, and once. */
import { join } from 'node:path';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { openWorkspace, readLedger, retirements } from '../../src/workspace/index.ts';
import { makeSigner, prepared } from '../release/setup.ts';
import { enter, type Opened, openTestDesk } from './opened.ts';

let opened: Opened;
let mine: Record<string, string>;
let folder: string;
let incident: string;
const post = (path: string, body: object) =>
  opened.ask(`/api/v1${path}`, { method: 'POST', headers: mine, body: JSON.stringify(body) });
const act = (step: string, confirm: string) => post(`/incidents/${incident}/steps/${step}/acts`, { confirm });
const retired = async () => [...retirements(await openWorkspace(folder)).keys()];

beforeEach(async () => {
  const made = await prepared();
  await makeSigner(made.workspace, 'line-9', {});
  folder = join(made.folder, 'ws');
  opened = await openTestDesk({ folder });
  mine = await enter(opened);
  const open = await post('/incidents', { kind: 'signer-leak', key: 'line-9' });
  incident = ((await open.json()) as { incident: string }).incident;
});
afterEach(() => opened.desk.close());

it('not confirmed by its name, nothing is done', async () => {
  const entries = readLedger(await openWorkspace(folder)).length;
  const refused = await act('retire', 'line-1');
  expect(refused.status).toBe(400);
  expect(JSON.stringify(await refused.json())).toContain('line-9');
  expect(await retired()).toEqual([]);
  expect(readLedger(await openWorkspace(folder))).toHaveLength(entries);
});

it('a step that is done, comes too early or is none is not done here, whatever is confirmed', async () => {
  for (const step of ['new-signer', 'revoke', 'nowhere'])
    expect((await act(step, 'line-9')).status, step).toBe(400);
});

it('confirmed, it is done, and not a second time', async () => {
  const begun = await act('retire', 'line-9');
  expect(begun.status).toBe(200);
  const { job } = (await begun.json()) as { job: string };
  const told = await (await opened.ask(`/api/v1/jobs/${job}`, { headers: mine })).text();
  expect(told).toContain('event: done');
  expect(await retired()).toEqual(['line-9']);
  expect((await act('retire', 'line-9')).status).toBe(400);
});

/** Steps of a response that the desk does: only for whoever confirms what follows, and once. */
import { join } from 'node:path';
import { afterEach, beforeEach, expect, it } from 'vitest';
import { trustUpdates } from '../../src/release/index.ts';
import { openWorkspace, readClass, readLedger, retirements } from '../../src/workspace/index.ts';
import { PASSPHRASE } from '../release/secrets.ts';
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
  const vent = await readClass(made.workspace, 'vent');
  await makeSigner(made.workspace, 'line-8', { classes: [vent] });
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

it('where several may sign a trust update, one is chosen: without a choice, or with another name, nothing is made', async () => {
  const workspace = await openWorkspace(folder);
  const vent = await readClass(workspace, 'vent');
  for (const name of ['trust-1', 'trust-2'])
    await makeSigner(workspace, name, { classes: [vent], signs: 'trust' });
  const answer = await post('/incidents', { kind: 'signer-leak', key: 'line-8' });
  incident = ((await answer.json()) as { incident: string }).incident;
  const entries = readLedger(workspace).length;
  const tell = async (more: object) => {
    const begun = await post(`/incidents/${incident}/steps/trust-update/acts`, {
      confirm: 'line-8',
      ...more,
    });
    const { job } = (await begun.json()) as { job: string };
    return (await opened.ask(`/api/v1/jobs/${job}`, { headers: mine })).text();
  };
  for (const wrong of [{}, { signer: 'line-9' }]) {
    const told = await tell({ ...wrong, passphrase: PASSPHRASE });
    expect(told).toContain('"field":"signer"');
    expect(told).toContain('trust-1 or trust-2');
  }
  expect(await tell({ signer: 'trust-2', passphrase: 'not the passphrase' })).toContain(
    '"field":"passphrase"',
  );
  expect(readLedger(workspace)).toHaveLength(entries);
  expect(await tell({ signer: 'trust-2', passphrase: PASSPHRASE })).toContain('event: done');
  const [made] = trustUpdates(workspace, 'vent');
  expect(JSON.stringify(made)).toContain('trust-2');
});

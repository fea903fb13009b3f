/** What the desk holds belongs to the session that brought it, and goes with it. */
import { existsSync } from 'node:fs';
import { basename, dirname } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import { randomBytes, sha256 } from '../../src/crypto/index.ts';
import type { Session } from '../../src/server/access/sessions.ts';
import { Uploads } from '../../src/server/held/uploads.ts';
import { beginLife, createUnitFile, memoryStore, unitFileLayout } from '../../src/unit/index.ts';
import { exampleRecord } from '../unit/records.ts';
import { enter, type Opened, openTestDesk } from './opened.ts';

let opened: Opened;
let mine: Record<string, string>;
let other: Record<string, string>;
beforeAll(async () => {
  opened = await openTestDesk();
  mine = await enter(opened);
  other = await enter(opened);
});
afterAll(() => opened.desk.close());

const bring = async (headers: Record<string, string>, body: Uint8Array) => {
  const answer = await opened.ask('/api/v1/files?name=x.bin', {
    method: 'POST',
    headers: { ...headers, 'content-type': 'application/octet-stream' },
    body: Buffer.from(body),
  });
  return ((await answer.json()) as { id: string }).id;
};
const post = (headers: Record<string, string>, path: string, body: object) =>
  opened.ask(`/api/v1${path}`, { method: 'POST', headers, body: JSON.stringify(body) });

/** A unit file of a trial unit without an image. */
function unitFile(): Uint8Array {
  const record = exampleRecord();
  const marksKey = randomBytes(32);
  const store = memoryStore(unitFileLayout(record.memory).size);
  const file = createUnitFile(store, { record, marksKey: { trial_hex: toHex(marksKey) } });
  beginLife(record, file.flash({ noise: () => 0.5 }), marksKey);
  return store.bytes;
}

describe('a session sees nothing of another', () => {
  it('neither its files, nor what is in them', async () => {
    const id = await bring(mine, Uint8Array.of(1, 2, 3));
    for (const path of [`/api/v1/files/${id}`, `/api/v1/files/${id}/anatomy`]) {
      expect((await opened.ask(path, { headers: mine })).status).toBe(200);
      expect((await opened.ask(path, { headers: other })).status).toBe(404);
    }
  });

  it('nor a file by its digest, as addresses name it', async () => {
    const bytes = randomBytes(40);
    const id = await bring(mine, bytes);
    const named = (headers: Record<string, string>, digest: string) =>
      opened.ask(`/api/v1/files/by-digest/${digest}`, { headers });
    const digest = toHex(sha256(bytes));
    expect(await (await named(mine, digest)).json()).toMatchObject({ id, sha256: digest });
    const refused = await named(other, digest);
    expect(refused.status).toBe(404);
    expect(JSON.stringify(await refused.json())).toContain('drop it here');
    for (const wrong of ['..', 'a'.repeat(63), 'A'.repeat(64)])
      expect((await named(mine, wrong)).status).not.toBe(200);
  });

  it('nor its units', async () => {
    const file = await bring(mine, unitFile());
    const begun = await post(mine, '/plays', { file });
    expect(begun.status).toBe(200);
    const { play } = (await begun.json()) as { play: string };
    expect((await opened.ask(`/api/v1/plays/${play}`, { headers: mine })).status).toBe(200);
    expect((await opened.ask(`/api/v1/plays/${play}`, { headers: other })).status).toBe(404);
    expect((await post(other, `/plays/${play}/acts`, { act: 'start' })).status).toBe(404);
  });

  it('nor its jobs', async () => {
    const file = await bring(mine, new Uint8Array(100));
    const started = await post(mine, '/seals', { file, class: 'vent', version: '1.0.0' });
    const { job } = (await started.json()) as { job: string };
    expect((await opened.ask(`/api/v1/jobs/${job}`, { headers: other })).status).toBe(404);
    const told = await (await opened.ask(`/api/v1/jobs/${job}`, { headers: mine })).text();
    expect(told).toContain('event: failed');
    expect(told).not.toContain('program-fault');
  });
});

describe('files', () => {
  const session = { id: 's', who: 'mira', role: 'owner', begun: 0 } as const satisfies Session;

  it('larger than the bound are refused, and nothing of them stays', async () => {
    const uploads = new Uploads(10);
    async function* pieces() {
      yield new Uint8Array(6);
      yield new Uint8Array(6);
    }
    await expect(uploads.take(session, 'large', pieces())).rejects.toMatchObject({ code: 'too-large' });
    uploads.close();
  });

  it('go with their session', async () => {
    const uploads = new Uploads();
    async function* pieces() {
      yield new Uint8Array(6);
    }
    const { path, id } = await uploads.take(session, '../../etc/passwd', pieces());
    expect(existsSync(path)).toBe(true);
    // Nothing of a path is left of the name: the folder is the one of this file alone.
    expect(path.endsWith(`/${id}/${basename(path)}`)).toBe(true);
    uploads.forget(session);
    expect(existsSync(dirname(path))).toBe(false);
    expect(() => uploads.find(session, id)).toThrow('no longer at the desk');
    uploads.close();
  });
});

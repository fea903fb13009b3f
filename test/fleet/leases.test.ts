import { type ChildProcess, spawn } from 'node:child_process';
import { existsSync, mkdtempSync, readFileSync, symlinkSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { afterEach, beforeAll, expect, it } from 'vitest';
import type { FleetStore } from '../../src/fleet/index.ts';
import { buildWorker } from '../e2e/killed-worker.ts';
import { onBoth } from './stores.ts';

const folder = mkdtempSync(join(process.env.FIELDSEAL_E2E ?? tmpdir(), 'leases-'));
let worker: string;
const children: ChildProcess[] = [];
const pause = (ms: number) => new Promise((resolve) => setTimeout(resolve, ms));

beforeAll(async () => {
  // What is not bundled is looked for beside the worker.
  symlinkSync(resolve('node_modules'), join(folder, 'node_modules'));
  worker = await buildWorker('test/fleet/lease-worker.ts', folder);
});

afterEach(() => {
  for (const child of children.splice(0)) child.kill('SIGKILL');
});

onBoth('leases', (stores) => {
  it('have one holder, until they lapse or are given back', async () => {
    const store = await stores.open();
    const first = (await store.lease('steer', 'ada', 60))!;
    expect(first).toMatchObject({ name: 'steer', holder: 'ada', token: 1 });
    expect(await store.lease('steer', 'bela', 60)).toBeUndefined();
    expect(await store.lease('other', 'bela', 60)).toMatchObject({ token: 1 });
    expect(await store.holderOf('steer')).toEqual(first);
    expect((await store.renew(first, 90))!.until.getTime()).toBeGreaterThan(first.until.getTime());
    await store.release(first);
    expect(await store.holderOf('steer')).toBeUndefined();
    const second = (await store.lease('steer', 'bela', 60))!;
    expect(second.token).toBe(2);
    expect(await store.renew(first, 60)).toBeUndefined();
    await store.release(first);
    expect(await store.holderOf('steer')).toEqual(second);
  });

  it('let nobody write under a token that passed on or lapsed', async () => {
    const store = await stores.open();
    const first = (await store.lease('steer', 'ada', 0.05))!;
    await pause(100);
    const note = { kind: 'held', who: 'ada', text: 'mine' };
    await expect(store.note(note, first)).rejects.toMatchObject({ code: 'fleet-lease-lost' });
    expect(await store.renew(first, 60)).toBeUndefined();
    const second = (await store.lease('steer', 'bela', 60))!;
    const error = await store.note(note, first).catch((thrown: Error) => thrown);
    expect((error as Error).message).toContain('bela has it now');
    await store.note(note, second);
    expect(await store.events()).toHaveLength(1);
  });

  it('are never held by two of several processes at once, and pass on from one that was killed', async () => {
    const place = stores.place();
    const store = await stores.open(place);
    const file = stores.path(`held-${place.length}-${Date.now()}`);
    const names = ['ada', 'bela', 'cleo'];
    for (const name of names) begin(place, name, file);
    await seen(file, names.length);
    children[0]!.kill('SIGKILL');
    const killedAt = linesOf(file).length;
    await seen(file, 2, killedAt);
    for (const child of children) child.kill('SIGKILL');
    await requireOneHolder(store);
  });
});

function begin(place: string, name: string, file: string): void {
  const child = spawn(process.execPath, [worker, place, name, file], {
    stdio: 'inherit',
  });
  children.push(child);
}

const linesOf = (file: string) => (existsSync(file) ? readFileSync(file, 'utf8').trim().split('\n') : []);

/** Waits until so many processes have held the lease, from a line on. */
async function seen(file: string, holders: number, from = 0): Promise<void> {
  for (;;) {
    if (
      new Set(
        linesOf(file)
          .slice(from)
          .map((line) => line.split(' ')[0]),
      ).size >= holders
    )
      return;
    await pause(50);
  }
}

/** In the journal, in the order in which it was written: each token belongs to one holder, and none comes back after a higher one. */
async function requireOneHolder(store: FleetStore): Promise<void> {
  const holders = new Map<number, string>();
  let highest = 0;
  for (const { who, text } of await store.events({ limit: 1000 })) {
    const token = Number(text);
    expect(token).toBeGreaterThanOrEqual(highest);
    expect(holders.get(token) ?? who).toBe(who);
    holders.set(token, who);
    highest = token;
  }
  expect(holders.size).toBeGreaterThanOrEqual(3);
}

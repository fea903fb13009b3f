/** One writer at a time: a unit file, or whatever is held alone. */
import { spawn } from 'node:child_process';
import {
  existsSync,
  lstatSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  readlinkSync,
  rmSync,
  symlinkSync,
  unlinkSync,
  writeFileSync,
} from 'node:fs';
import { hostname, tmpdir } from 'node:os';
import { join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { afterAll, beforeAll, beforeEach, describe, expect, test } from 'vitest';
import { holdAlone } from '../../src/workspace/hold.ts';
import { createUnitStore, openUnitStore, placeAreas } from '../../src/workspace/index.ts';
import { buildWorker, runAndKill } from '../e2e/killed-worker.ts';
import { emptyFolder, failure } from './setup.ts';

const SHORT = 60;
let folder: string;
let unit: string;
let bundle: string;
let worker: string;

beforeAll(async () => {
  bundle = mkdtempSync(join(tmpdir(), 'fieldseal-hold-'));
  worker = await buildWorker('test/workspace/holding-worker.ts', bundle);
});
afterAll(() => rmSync(bundle, { recursive: true, force: true }));

beforeEach(() => {
  folder = emptyFolder();
  unit = join(folder, 'vent.unit');
  writeFileSync(unit, Buffer.alloc(100));
});

describe('a unit file and its writers', () => {
  test('a second writer is told who holds it and what to do, with status 3; a reader is not', async () => {
    const store = await openUnitStore(unit);
    const error = await failure(() => openUnitStore(unit, 'write', SHORT));
    expect(error).toMatchObject({ code: 'in-use', status: 3, file: unit });
    expect(error.message).toContain(`process ${process.pid} on ${hostname()}`);
    expect(error.hint).toContain(`ps -p ${process.pid}`);
    (await openUnitStore(unit, 'read')).close();
    store.close();
    (await openUnitStore(unit, 'write', 0)).close();
    expect(readdirSync(folder)).toEqual(['vent.unit']);
  });

  test('a second writer waits for the first', async () => {
    const first = await openUnitStore(unit);
    let opened = false;
    const second = openUnitStore(unit, 'write', 60_000).then((store) => {
      opened = true;
      return store;
    });
    await pause(SHORT);
    expect(opened).toBe(false);
    first.close();
    (await second).close();
  });

  test('by whatever name it is reached', async () => {
    symlinkSync(unit, join(folder, 'alias.unit'));
    const store = await openUnitStore(join(folder, 'alias.unit'));
    expect((await failure(() => openUnitStore(unit, 'write', SHORT))).code).toBe('in-use');
    store.close();
  });

  test('while it is created, and while its areas move to partitions; one that lies on partitions is held as a whole', async () => {
    const made = await createUnitStore(join(folder, 'new.unit'), 100);
    expect((await failure(() => openUnitStore(join(folder, 'new.unit'), 'write', SHORT))).code).toBe(
      'in-use',
    );
    made.close();
    const area = { name: 'slot A', offset: 10, size: 20, path: join(folder, 'slot A.part') };
    writeFileSync(area.path, Buffer.alloc(20));
    const letGo = await holdAlone(unit);
    const moving = placeAreas(unit, [area]);
    await pause(SHORT);
    expect(existsSync(`${unit}.areas`)).toBe(false);
    letGo();
    await moving;
    const store = await openUnitStore(unit);
    expect((await failure(() => openUnitStore(unit, 'write', SHORT))).code).toBe('in-use');
    store.close();
  });

  test('one that is not there, or cannot be opened, stays free', async () => {
    expect((await failure(() => openUnitStore(join(folder, 'none.unit')))).code).toBe('file-missing');
    writeFileSync(`${unit}.areas`, 'no list');
    expect((await failure(() => openUnitStore(unit))).code).toBe('file-invalid');
    expect(lstatSync(`${unit}.held`, { throwIfNoEntry: false })).toBeUndefined();
  });
});

describe('who is gone holds nothing', () => {
  test('a process that was killed, nobody of many is ever inside with another, and nothing is left at the end', async () => {
    const rounds = async () => {
      const told = [];
      for (let round = 0; round < 8; round++) told.push(...(await runAndKill(worker, [unit], 150)));
      return told;
    };
    const told = (await Promise.all([rounds(), rounds(), rounds()])).flat();
    expect(told.filter((line) => line !== 'in')).toEqual([]);
    expect(told.length).toBeGreaterThan(24);
    (await openUnitStore(unit)).close();
    // A second link, or a third, is of one that was killed while it took away what another left: the next who has to do that takes it away.
    const left = /^vent\.unit(\.inside|(\.held){2,})$/;
    expect(readdirSync(folder).filter((name) => !left.test(name))).toEqual(['vent.unit']);
  });

  test('a process that was killed and that its parent has not asked after', async () => {
    // The shell becomes `sleep`, which never asks after the worker that it started.
    const parent = spawn('sh', [
      '-c',
      `"$0" "$1" "$2" & echo $!; exec sleep 60`,
      process.execPath,
      worker,
      unit,
    ]);
    try {
      let told = '';
      parent.stdout.on('data', (text) => (told += text));
      // The shell tells the number, and the worker that it is in: either may be first.
      while (!/^\d+\n/m.test(told) || !told.includes('in\n')) await pause(5);
      const child = Number(told.match(/^\d+\n/m)![0]);
      let held = false;
      while (!held) {
        process.kill(child, 'SIGSTOP');
        held = lstatSync(`${unit}.held`, { throwIfNoEntry: false }) !== undefined;
        if (!held) process.kill(child, 'SIGCONT');
        await pause(1);
      }
      process.kill(child, 'SIGKILL');
      while (!readFileSync(`/proc/${child}/stat`, 'utf8').includes(') Z ')) await pause(5);
      (await openUnitStore(unit, 'write', 60_000)).close();
    } finally {
      parent.kill();
    }
  });

  test.each([
    ['its number is of another process now', (own: string) => own.replace(/^(\d+)\.\d+/, '$1.1')],
    ['the machine was started again', (own: string) => own.replace(/^(\d+\.\d+)\.\w+/, '$1.00000000')],
  ])('%s', async (_, change) => {
    symlinkSync(change(await ownText()), `${unit}.held`);
    (await openUnitStore(unit, 'write', 60_000)).close();
  });

  test('who died while taking away what another left', async () => {
    const gone = (await ownText()).replace(/^(\d+\.\d+)\.\w+/, '$1.00000000');
    for (const link of [`${unit}.held`, `${unit}.held.held`]) symlinkSync(gone, link);
    (await openUnitStore(unit, 'write', 60_000)).close();
    expect(readdirSync(folder)).toEqual(['vent.unit']);
  });

  test('of another machine nobody here can tell: it is said which link to take away', async () => {
    symlinkSync((await ownText()).replace(/[^.]*$/, 'gateway-9'), `${unit}.held`);
    const error = await failure(() => openUnitStore(unit, 'write', SHORT));
    expect(error.message).toContain('gateway-9');
    expect(error.hint).toContain(`${unit}.held`);
  });

  test('what is held for an instant only: one on another machine that does not move is taken for gone, one here is not', async () => {
    const other = (await ownText()).replace(/[^.]*$/, 'gateway-9');
    symlinkSync(other, `${unit}.held`);
    (await holdAlone(unit, { patience: SHORT, briefly: true }))();
    expect(readdirSync(folder)).toEqual(['vent.unit']);
    const letGo = await holdAlone(unit);
    expect((await failure(() => holdAlone(unit, { patience: SHORT, briefly: true }))).code).toBe('in-use');
    letGo();
    symlinkSync(other, `${unit}.held`);
    const before = making(`${unit}.held`);
    const waiting = failure(() => holdAlone(unit, { patience: SHORT, briefly: true }));
    // It has looked already, and looks again only once this is over: until the clock of the file system has moved on.
    do {
      unlinkSync(`${unit}.held`);
      symlinkSync(other, `${unit}.held`);
    } while (making(`${unit}.held`) === before);
    expect((await waiting).code).toBe('in-use');
  });

  test('what is there and none of ours is left alone, and named', async () => {
    writeFileSync(`${unit}.held`, '');
    const error = await failure(() => openUnitStore(unit, 'write', SHORT));
    expect([error.code, error.hint]).toEqual(['in-use', expect.stringContaining(`${unit}.held`)]);
    expect(existsSync(`${unit}.held`)).toBe(true);
  });
});

/** What tells one making of a link from another. */
function making(link: string): string {
  const { ino, ctimeNs } = lstatSync(link, { bigint: true });
  return `${ino} ${ctimeNs}`;
}

/** What this process writes into a link. */
async function ownText(): Promise<string> {
  const letGo = await holdAlone(join(folder, 'own'));
  try {
    return readlinkSync(join(folder, 'own.held'));
  } finally {
    letGo();
  }
}

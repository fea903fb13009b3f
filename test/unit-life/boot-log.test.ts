/** The boot log: bounded, and whole after any power cut. What is entered is a decision of step 11 (RFC 9019 section 4.1). */
import { describe, expect, test } from 'vitest';
import type { FlashGeometry } from '../../src/image/index.ts';
import { BootLog } from '../../src/unit/boot-log.ts';
import { type BootEntry, bootRecordSize } from '../../src/unit/boot-record.ts';
import { PowerCut } from '../../src/unit/flash.ts';
import { type Cut, type CutKind, EmulatedFlash } from '../../src/unit/flash-emulated.ts';
import { memoryStore, noteSize } from '../../src/unit/flash-pages.ts';
import { bringAndKeep, mustInstall, mustStart } from './cut-proof.ts';
import { FIRST, SECOND } from './lives.ts';
import { seededNoise } from './noise.ts';
import { rigOf } from './rig.ts';

const KEY = new Uint8Array(32).fill(7);
const KINDS: readonly CutKind[] = ['before', 'middle', 'after'];
const LUCKY = () => 0;

function logArea(write_unit: number, erased_value: number, endurance = 1_000_000) {
  const geometry: FlashGeometry = { erase_page: 512, write_unit, erased_value, endurance };
  const size = 4 * 512;
  const store = memoryStore(size + 4 * noteSize(geometry));
  const open = (noise: () => number, cut?: Cut) =>
    new EmulatedFlash(store, { dataOffset: 0, size, notesOffset: size }, geometry, { noise, cut });
  return { store, geometry, area: { offset: 0, size }, open };
}

const entry = (count: number, changes: Partial<BootEntry> = {}): BootEntry => ({
  kind: 'start',
  runs: 0,
  state: 'kept',
  count,
  sequenceNumber: BigInt(count) << 33n,
  imageDigest: new Uint8Array(32).fill(count),
  seed: new Uint8Array(16).fill(count + 1),
  failures: [],
  ...changes,
});

describe('records', () => {
  test.each([
    [1, 0xff],
    [8, 0x00],
    [16, 0xff],
  ])('write unit %i, erased value %i: what is written is read, newest first', (unit, erased) => {
    const { area, open } = logArea(unit, erased);
    const written = [
      entry(1),
      entry(2, { runs: undefined, state: 'none', failures: ['stored-image-wrong', 'stored-envelope-wrong'] }),
      entry(2, { kind: 'self-check', failures: ['code changed at 0x8001000'] }),
      entry(3, { runs: 'recovery', state: 'recovery', sequenceNumber: 0n }),
    ];
    for (const each of written) new BootLog(open(LUCKY), area, KEY).append(each);
    const log = new BootLog(open(LUCKY), area, KEY);
    expect(log.entries).toEqual(written.toReversed());
    expect(log.starts).toBe(3);
  });

  test('the log is bounded: the older bank goes, the newer one stays', () => {
    const { area, open, geometry } = logArea(8, 0xff);
    const bank = Math.floor(1024 / bootRecordSize(geometry).whole);
    for (let count = 1; count <= 40; count++) {
      const log = new BootLog(open(LUCKY), area, KEY);
      log.append(entry(count));
      const { entries } = new BootLog(open(LUCKY), area, KEY);
      expect(entries[0]?.count).toBe(count);
      expect(entries.length).toBeGreaterThanOrEqual(Math.min(count, bank));
      expect(entries.length).toBeLessThanOrEqual(2 * bank);
    }
  });

  test("a record that was changed, or is another unit's, does not count", () => {
    const { area, open, store } = logArea(8, 0xff);
    new BootLog(open(LUCKY), area, KEY).append(entry(1));
    expect(new BootLog(open(LUCKY), area, new Uint8Array(32).fill(8)).entries).toEqual([]);
    for (let at = 0; at < 200; at++) {
      store.bytes[at]! ^= 0x20;
      const { entries } = new BootLog(open(LUCKY), area, KEY);
      expect(entries, `byte ${at}`).toEqual([]);
      store.bytes[at]! ^= 0x20;
    }
  });

  test('an area that is worn takes nothing more, and says so', () => {
    const { area, open } = logArea(8, 0xff, 1);
    const log = new BootLog(open(LUCKY), area, KEY);
    const fill = () => {
      for (let count = 1; count < 100; count++) log.append(entry(count));
    };
    expect(fill).toThrow('erased');
  });
});

describe('power cuts', () => {
  test('whatever was entered as a whole is found again, however often the power goes away', () => {
    const noise = seededNoise(42);
    for (let run = 0; run < 400; run++) {
      const { area, open } = logArea(8, run % 2 === 0 ? 0xff : 0);
      let entered = 0;
      for (let session = 0; session < 30; session++) {
        const cut = { after: Math.floor(noise() * 30), kind: KINDS[Math.floor(noise() * 3)]! };
        const flash = open(noise, cut);
        const log = new BootLog(flash, area, KEY);
        expect(log.starts).toBeGreaterThanOrEqual(entered);
        try {
          const count = log.starts + 1;
          log.append(entry(count));
          entered = count;
        } catch (error) {
          if (!(error instanceof PowerCut)) throw error;
        }
      }
    }
  });
});

describe('a unit that keeps a boot log', () => {
  const rig = rigOf({ shape: 'remapped', writeUnit: 8, erased: 0xff, logPages: 32 });

  test('every start is counted and told: what ran, what was passed over and why', () => {
    const store = memoryStore(rig.storeSize, rig.begin());
    const { unit } = rig.power(store, seededNoise(1));
    bringAndKeep(FIRST)(unit);
    mustInstall(unit, SECOND);
    mustStart(unit, 2);
    const fell = unit.start();
    expect(fell.logged).toBe(true);
    expect(fell.boot).toMatchObject({ count: 4, runs: 0, state: 'kept', failures: ['trial-ran-out'] });
    const told = rig.power(store, seededNoise(2)).unit.boots();
    expect(told.map(({ count, sequenceNumber }) => [count, sequenceNumber])).toEqual([
      [4, 1n],
      [3, 2n],
      [2, 1n],
      [1, 0n],
    ]);
    expect(new Set(told.map(({ seed }) => String(seed))).size).toBe(4);
  });

  test('RFC 9711 4.2.12, 4.2.13: count and seed of the running start are at hand until the power goes', () => {
    const store = memoryStore(rig.storeSize, rig.begin());
    const memory = { running: undefined, boot: undefined as unknown };
    const { unit } = rig.power(store, seededNoise(1), undefined, memory as never);
    unit.start();
    expect(memory.boot).toMatchObject({ count: 1, seed: expect.any(Uint8Array) });
    const cut = rig.power(store, seededNoise(1), { after: 0, kind: 'before' }, memory as never);
    expect(() => cut.unit.start()).toThrow(PowerCut);
    expect(memory).toMatchObject({ running: undefined, boot: undefined });
  });

  test('a start is not stopped by a log that takes nothing; it is told', () => {
    const worn = rigOf({ shape: 'remapped', writeUnit: 8, erased: 0xff, logPages: 8, endurance: 12 });
    const store = memoryStore(worn.storeSize, worn.begin());
    bringAndKeep(FIRST)(worn.power(store, seededNoise(1)).unit);
    const results = Array.from({ length: 60 }, () => worn.power(store, seededNoise(1)).unit.start());
    expect(results.every(({ started }) => started?.facts?.sequenceNumber === 1n)).toBe(true);
    expect(results.map(({ logged }) => logged)).toContain(false);
  });

  test('a unit without one starts as before, and programs nothing for it', () => {
    const bare = rigOf({ shape: 'remapped', writeUnit: 8, erased: 0xff });
    const store = memoryStore(bare.storeSize, bare.begin());
    bringAndKeep(FIRST)(bare.power(store, seededNoise(1)).unit);
    const { unit, flash } = bare.power(store, seededNoise(1));
    expect(unit.start()).toMatchObject({ logged: false, verdict: 'accepted' });
    expect(flash.operations).toBe(0);
  });

  test('cut at every operation of a start, the unit starts the same image, and no entry is half there', () => {
    const store = memoryStore(rig.storeSize, rig.begin());
    bringAndKeep(FIRST)(rig.power(store, seededNoise(1)).unit);
    for (const kind of KINDS) {
      for (let after = 0; after < 30; after++) {
        const copy = memoryStore(store.bytes.length, store.bytes);
        const act = () => rig.power(copy, seededNoise(after), { after, kind }).unit.start();
        const cut = fails(act);
        const { unit } = rig.power(copy, seededNoise(after + 1));
        const starts = unit.boots()[0]!.count;
        expect(starts).toBeLessThanOrEqual(3);
        if (!cut) expect(starts).toBe(3);
        expect(unit.start().started?.facts?.sequenceNumber).toBe(1n);
      }
    }
  });
});

function fails(act: () => unknown): boolean {
  try {
    act();
    return false;
  } catch (error) {
    if (error instanceof PowerCut) return true;
    throw error;
  }
}

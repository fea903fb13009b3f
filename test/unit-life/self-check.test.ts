/** The periodic self-check: what a verified start found, compared while the image runs (docs/attestation.md). */
import { describe, expect, test } from 'vitest';
import type { SelfCheckRules } from '../../src/unit/attestation-rules.ts';
import { memoryStore } from '../../src/unit/flash-pages.ts';
import type { VolatileMemory } from '../../src/unit/life-board.ts';
import { decodeSelfCheck, encodeSelfCheck, selfCheckMemorySize } from '../../src/unit/self-check-memory.ts';
import { bringAndKeep } from './cut-proof.ts';
import { FIRST, SECOND, THIRD } from './lives.ts';
import { seededNoise } from './noise.ts';
import { rigOf } from './rig.ts';

const SLICE = 64;
/** A slot has 4 pages of 64 bytes; FIRST has 200 bytes. */
const SLOT = 256;
const RULES: SelfCheckRules = { method: 'blocks', slice_bytes: SLICE, every_seconds: 60, reaction: 'report' };

function running(changes: Partial<SelfCheckRules> = {}, logPages = 16) {
  const rig = rigOf({
    shape: 'remapped',
    writeUnit: 8,
    erased: 0xff,
    logPages,
    rules: { self_check: { ...RULES, ...changes } },
  });
  const store = memoryStore(rig.storeSize, rig.begin());
  const memory: VolatileMemory = { running: undefined };
  const powered = () => rig.power(store, seededNoise(1), undefined, memory);
  const { unit } = powered();
  bringAndKeep(FIRST)(unit);
  const slot = unit.layout.slots[memory.running as number]!;
  return { rig, store, memory, unit, powered, slot };
}

describe.each(['blocks', 'whole'] as const)('method %s', (method) => {
  test('untouched code is sound, round after round; at most one slice is read at each tick', () => {
    const { unit } = running({ method });
    for (let tick = 1; tick <= 12; tick++) {
      const result = unit.checkSelf(1);
      expect(result).toMatchObject({
        outcome: 'sound',
        ticks: 1,
        bytesRead: SLICE,
        roundTicks: SLOT / SLICE,
      });
      expect(result.rounds).toBe(Math.floor(tick / 4));
    }
  });

  test('every byte of the slot is covered within a round, the erased rest included', () => {
    for (let at = 0; at < SLOT; at += 5) {
      const { unit, store, slot } = running({ method });
      store.bytes[slot.offset + at]! ^= 4;
      const result = unit.checkSelf(4);
      expect(result.outcome, `byte ${at}`).toBe('changed');
      if (method === 'blocks') {
        expect(result.ticks).toBe(Math.floor(at / SLICE) + 1);
        expect(result.finding).toMatchObject({ address: at - (at % SLICE), length: SLICE });
      }
    }
  });

  test('a round goes on where another session left it', () => {
    const { unit, powered, store, slot } = running({ method });
    unit.checkSelf(2);
    const next = powered().unit;
    expect(next.checkSelf(2)).toMatchObject({ outcome: 'sound', rounds: 1, position: 0 });
    store.bytes[slot.offset + 130]! ^= 4;
    expect(powered().unit.checkSelf(4).outcome).toBe('changed');
  });

  test('a finding stays until the next start, and is entered once', () => {
    const { unit, store, slot } = running({ method });
    store.bytes[slot.offset]! ^= 4;
    expect(unit.checkSelf(4).finding).toMatchObject({ logged: true, reaction: 'report' });
    const entries = unit.boots().length;
    expect(unit.checkSelf(4)).toMatchObject({ outcome: 'changed', ticks: 0 });
    expect(unit.boots().length).toBe(entries);
    expect(unit.boots()[0]).toMatchObject({ kind: 'self-check', failures: ['code changed at 0x0'] });
  });
});

describe('the reaction', () => {
  test('report: the unit goes on running', () => {
    const { unit, store, slot, memory } = running({ reaction: 'report' });
    store.bytes[slot.offset]! ^= 4;
    unit.checkSelf(1);
    expect(memory.running).toBe(0);
  });

  test('stop: nothing runs from then on, and nothing is checked', () => {
    const { unit, store, slot, memory } = running({ reaction: 'stop' });
    store.bytes[slot.offset]! ^= 4;
    expect(unit.checkSelf(1).finding?.reaction).toBe('stop');
    expect(memory).toMatchObject({ running: undefined, boot: undefined, check: undefined });
    expect(unit.checkSelf(1).outcome).toBe('not running');
  });

  test('restart: verified again from the memory that would run; the changed image does not start', () => {
    const { unit, store, memory } = running({ reaction: 'restart' });
    bringAndKeep(SECOND)(unit);
    bringAndKeep(THIRD)(unit);
    const slot = unit.layout.slots[memory.running as number]!;
    store.bytes[slot.offset]! ^= 4;
    const { finding } = unit.checkSelf(1);
    expect(finding?.restart?.started?.facts?.sequenceNumber).toBe(2n);
    expect(finding?.restart?.boot.failures).toEqual(['stored-image-wrong']);
    expect(unit.checkSelf(4)).toMatchObject({ outcome: 'sound', rounds: 1 });
    expect(
      unit
        .boots()
        .slice(0, 2)
        .map(({ kind }) => kind),
    ).toEqual(['start', 'self-check']);
  });

  test('restart with nothing left: nothing starts, rather than something changed', () => {
    const { unit, store, slot, memory } = running({ reaction: 'restart' });
    store.bytes[slot.offset]! ^= 4;
    expect(unit.checkSelf(1).finding?.restart?.refusal?.code).toBe('nothing-to-start');
    expect(memory.running).toBeUndefined();
  });
});

describe('when there is nothing to go by', () => {
  test('a record without rules: off', () => {
    const rig = rigOf({ shape: 'remapped', writeUnit: 8, erased: 0xff });
    const { unit } = rig.power(memoryStore(rig.storeSize, rig.begin()), seededNoise(1));
    expect(unit.checkSelf(5)).toMatchObject({ outcome: 'off', ticks: 0 });
  });

  test('a unit that was not started: not running', () => {
    const { rig } = running();
    const { unit } = rig.power(memoryStore(rig.storeSize, rig.begin()), seededNoise(1));
    expect(unit.checkSelf(5)).toMatchObject({ outcome: 'not running', ticks: 0 });
  });

  test('the recovery image is checked against the digest that provisioning wrote down', () => {
    const rig = rigOf({
      shape: 'remapped',
      writeUnit: 8,
      erased: 0xff,
      recovery: true,
      rules: { self_check: RULES },
    });
    const store = memoryStore(rig.storeSize, rig.begin());
    const { unit } = rig.power(store, seededNoise(1));
    unit.start();
    expect(unit.checkSelf(2)).toMatchObject({ outcome: 'sound', rounds: 1, roundTicks: 2 });
    store.bytes[unit.layout.recovery!.offset + 100]! ^= 1;
    expect(unit.checkSelf(2).finding?.address).toBe(0x100000 + 64);
  });

  test('something behind the image at the start is a finding from the first tick', () => {
    const { unit, store, slot, memory } = running();
    store.bytes[slot.offset + 250]! ^= 4;
    unit.start();
    expect(memory.check).toMatchObject({ changedAt: 0 });
    expect(unit.checkSelf(1)).toMatchObject({ outcome: 'changed', ticks: 0 });
  });
});

describe('protected memory', () => {
  test('has room for the digests of the largest area, and gives back what was put there', () => {
    const { memory, rig } = running();
    const size = selfCheckMemorySize(rig.record.memory, RULES);
    expect(size).toBe(64 + (SLOT / SLICE) * 32);
    const bytes = encodeSelfCheck(memory.check);
    expect(bytes.length).toBe(size);
    expect(decodeSelfCheck(bytes)).toEqual(memory.check);
    expect(decodeSelfCheck(encodeSelfCheck(undefined))).toBeUndefined();
    expect(selfCheckMemorySize(rig.record.memory, undefined)).toBe(0);
  });
});

import { describe, expect, test } from 'vitest';
import { equal, sourceOf } from '../../src/bytes/index.ts';
import { PowerCut } from '../../src/unit/flash.ts';
import type { Cut } from '../../src/unit/flash-emulated.ts';
import type { FlashLayout } from '../../src/unit/flash-layout.ts';
import { memoryStore, noteSize, type Store } from '../../src/unit/flash-pages.ts';
import type { VolatileMemory } from '../../src/unit/life-board.ts';
import { CHECKPOINTS } from '../../src/unit/slots.ts';
import { bringAndKeep, mustInstall, mustKeep, mustStart } from './cut-proof.ts';
import { imageOf, release, requestOf } from './fake-decision.ts';
import { FIRST, SECOND, THIRD } from './lives.ts';
import { seededNoise } from './noise.ts';
import { type Rig, type RigOptions, rigOf } from './rig.ts';

const TWO: RigOptions = { shape: 'remapped', writeUnit: 8, erased: 0xff };
const STAGED: RigOptions = { ...TWO, shape: 'staged' };

/** One unit and its flash; `power()` is another start of its processor. */
function unitOn(options: RigOptions) {
  const rig: Rig = rigOf(options);
  const store = memoryStore(rig.storeSize, rig.begin());
  const memory: VolatileMemory = { running: undefined };
  const power = (cut?: Cut) => rig.power(store, seededNoise(3), cut, memory);
  const powerOver = (other: Store) => rig.power(other, seededNoise(3), undefined, memory);
  const { layout } = power().unit;
  return { store, power, powerOver, layout, memory };
}

/** The same flash with one bit that reads the other way round once its place was written `afterWrites` times. */
function withFailingBit(store: Store, place: number, afterWrites: number): Store {
  const covers = (offset: number, length: number) => offset <= place && place < offset + length;
  let writes = 0;
  return {
    ...store,
    write(offset, bytes) {
      if (covers(offset, bytes.length)) writes += 1;
      store.write(offset, bytes);
    },
    read(offset, length) {
      const bytes = store.read(offset, length);
      if (writes >= afterWrites && covers(offset, length)) bytes[place - offset]! ^= 1;
      return bytes;
    },
  };
}

describe('install (design: one free slot, one mark)', () => {
  test('while an image is on trial every install is refused with its own code', () => {
    const { power } = unitOn(TWO);
    const { unit } = power();
    mustInstall(unit, FIRST);
    mustStart(unit, 1);
    expect(unit.install(requestOf(SECOND)).refusal?.code).toBe('trial-in-progress');
    expect(unit.install(requestOf(FIRST)).refusal?.code).toBe('trial-in-progress');
  });

  test('an install that was cut short goes on from its last checkpoint', () => {
    const big = release(1, imageOf(64 * 64, 5));
    const { power } = unitOn({ ...TWO, slotPages: 64 });
    const whole = power().flash;
    expect(() => power({ after: 900, kind: 'middle' }).unit.install(requestOf(big))).toThrow(PowerCut);
    const { unit, flash } = power();
    const progress = unit.marks()!.progress;
    expect(progress).toBeGreaterThan(16);
    const wearBefore = whole.wear(0, progress * 64);
    const result = unit.install(requestOf(big));
    expect(result).toMatchObject({ verdict: 'accepted', slot: 'A' });
    expect(flash.wear(0, progress * 64)).toEqual(wearBefore);
    mustStart(unit, 1);
  });

  test('at most so many checkpoints for one install', () => {
    for (const pages of [1, 15, 16, 17, 31, 33, 64]) {
      const { flash, unit } = unitOn({ ...TWO, slotPages: 64, bankRecords: 30 }).power();
      const image = release(1, imageOf(pages * 64, 5));
      expect(unit.install(requestOf(image)).verdict).toBe('accepted');
      const slot = 64 + pages * 8;
      const envelope = 2 + Math.ceil(image.envelope.length / 8);
      const records = (flash.operations - slot - envelope) / 39;
      expect(records).toBeLessThanOrEqual(CHECKPOINTS + 2);
    }
  });

  test('a higher number takes the place of an unfinished install and of one that never started', () => {
    const { power } = unitOn(TWO);
    bringAndKeep(FIRST)(power().unit);
    expect(() => power({ after: 60, kind: 'middle' }).unit.install(requestOf(SECOND))).toThrow(PowerCut);
    mustInstall(power().unit, SECOND);
    mustInstall(power().unit, THIRD);
    mustStart(power().unit, 3);
  });

  test('on a unit that keeps it, or has it ready, the answer is "already there" and nothing is programmed', () => {
    const { store, power } = unitOn(TWO);
    mustInstall(power().unit, FIRST);
    const ready = store.bytes.slice();
    expect(power().unit.install(requestOf(FIRST))).toMatchObject({ verdict: 'accepted', slot: 'A' });
    expect(equal(store.bytes, ready)).toBe(true);
    mustStart(power().unit, 1);
    mustKeep(power().unit);
    const kept = store.bytes.slice();
    expect(power().unit.install(requestOf(FIRST))).toMatchObject({ verdict: 'accepted', slot: 'A' });
    expect(equal(store.bytes, kept)).toBe(true);
  });

  test('"already there" holds for good, also where the mark that says so was cut short', () => {
    const rig = rigOf(TWO);
    const ready = memoryStore(rig.storeSize, rig.begin());
    bringAndKeep(FIRST)(rig.power(ready, seededNoise(1)).unit);
    const operations = () => {
      const { unit, flash } = rig.power(memoryStore(rig.storeSize, ready.bytes), seededNoise(1));
      mustInstall(unit, SECOND);
      return flash.operations;
    };
    const firstCommitMark = operations() - 3;
    const store = memoryStore(rig.storeSize, ready.bytes);
    const cut = { after: firstCommitMark, kind: 'middle' } as const;
    expect(() => rig.power(store, seededNoise(1), cut).unit.install(requestOf(SECOND))).toThrow(PowerCut);
    const lucky = rig.power(store, () => 0.1).unit;
    expect(lucky.install(requestOf(SECOND)).verdict).toBe('accepted');
    const unlucky = rig.power(store, () => 0.3).unit;
    mustStart(unlucky, 2);
  });

  test('the last write unit is padded with the erased value, and the rest of the slot is erased', () => {
    const { power, layout } = unitOn({ ...TWO, erased: 0x00 });
    bringAndKeep(release(1, imageOf(256, 1)))(power().unit);
    bringAndKeep(release(2, imageOf(256, 2)))(power().unit);
    const odd = release(3, imageOf(77, 3));
    mustInstall(power().unit, odd);
    const slot = power().flash.read(layout.slots[0].offset, layout.slots[0].size);
    expect(equal(slot.subarray(0, 77), odd.image)).toBe(true);
    expect(slot.subarray(77).every((byte) => byte === 0)).toBe(true);
  });

  test('an image that is not the announced one empties the slot and leaves the running one alone', () => {
    const { power, layout } = unitOn(TWO);
    bringAndKeep(FIRST)(power().unit);
    const before = power().flash.read(layout.slots[0].offset, layout.slots[0].size);
    const wrong = {
      envelope: sourceOf(SECOND.envelope),
      image: sourceOf(SECOND.image.map((byte) => byte ^ 4)),
    };
    expect(power().unit.install(wrong).refusal?.code).toBe('image-digest-wrong');
    expect(equal(power().flash.read(layout.slots[0].offset, layout.slots[0].size), before)).toBe(true);
    expect(
      power()
        .unit.marks()!
        .slots.map(({ state }) => state),
    ).toEqual(['kept', 'empty']);
    mustInstall(power().unit, SECOND);
    mustStart(power().unit, 2);
  });

  test.each([
    // Stuck from the start, where nothing is programmed; gone wrong once it was erased and programmed.
    ['behind the image', 0, ({ slots }: FlashLayout) => slots[1].offset + slots[1].size - 1],
    ['in the envelope kept for start-up', 2, ({ envelopes }: FlashLayout) => envelopes[1]!.offset],
  ])(
    'RFC 9124 4.3.15: a bit that fails %s is read back, and the slot does not become ready',
    (_, writes, place) => {
      const { store, power, layout, powerOver } = unitOn(TWO);
      bringAndKeep(FIRST)(power().unit);
      const { unit } = powerOver(withFailingBit(store, place(layout), writes));
      expect(unit.install(requestOf(SECOND)).refusal?.code).toBe('image-length-wrong');
      expect(unit.marks()!.slots.map(({ state }) => state)).toEqual(['kept', 'empty']);
      mustStart(unit, 1);
    },
  );

  test('the slot that runs is never written, even where the newer one no longer verifies', () => {
    const { store, power, layout } = unitOn(TWO);
    bringAndKeep(release(1, FIRST.image))(power().unit);
    bringAndKeep(release(2, SECOND.image))(power().unit);
    const { offset } = layout.slots[1];
    store.bytes[offset]! ^= 1;
    mustStart(power().unit, 1);
    mustInstall(power().unit, THIRD);
    const marks = power().unit.marks()!;
    expect(marks.slots.map(({ state, sequenceNumber }) => [state, sequenceNumber])).toEqual([
      ['kept', 1n],
      ['ready', 3n],
    ]);
  });

  test.each([
    ['flash-failed', 'slot B', 'slots', 1],
    ['mark-not-written', 'the state area', 'state', 0],
  ] as const)('%s: %s is worn', (code, _what, area, keeps) => {
    const options = { ...TWO, endurance: 50 };
    const { store, power, layout } = unitOn(options);
    if (keeps) bringAndKeep(FIRST)(power().unit);
    const { offset, size } = area === 'slots' ? layout.slots[1] : layout.state;
    const note = noteSize(power().flash.geometry);
    const notes = new DataView(store.bytes.buffer, layout.size);
    for (let page = offset / 64; page < (offset + size) / 64; page++) notes.setUint32(page * note, 50);
    expect(power().unit.install(requestOf(release(7, imageOf(50, 7)))).refusal?.code).toBe(code);
    expect(power().unit.start().started?.image ?? null).toBe(keeps ? 'A' : null);
  });

  test('flash that is worn out is a refusal, and the kept image still starts', () => {
    const { power } = unitOn({ ...TWO, endurance: 6 });
    bringAndKeep(FIRST)(power().unit);
    const refusals: string[] = [];
    for (let number = 2; number < 40 && refusals.length === 0; number++) {
      const { unit } = power();
      const installed = unit.install(requestOf(release(number, SECOND.image)));
      unit.start();
      const kept = unit.keep();
      refusals.push(...[installed, kept].flatMap(({ refusal }) => (refusal ? [refusal.code] : [])));
    }
    expect(['flash-failed', 'mark-not-written', 'floor-would-strand']).toContain(refusals[0]);
    expect(power().unit.start().verdict).toBe('accepted');
  });
});

describe('start (RFC 9019 section 4.1, draft-ietf-suit-manifest section 6.1)', () => {
  test('a start of a kept image programs nothing', () => {
    const { store, power } = unitOn(TWO);
    bringAndKeep(FIRST)(power().unit);
    mustStart(power().unit, 1);
    const before = store.bytes.slice();
    for (let i = 0; i < 5; i++) mustStart(power().unit, 1);
    expect(equal(store.bytes, before)).toBe(true);
  });

  test('an image on trial that was not kept falls back, and after so many tries it is refused', () => {
    const { power } = unitOn(TWO);
    bringAndKeep(FIRST)(power().unit);
    for (const tries of [1, 2]) {
      mustInstall(power().unit, SECOND);
      mustStart(power().unit, 2);
      const back = power().unit.start();
      expect(back.passedOver).toMatchObject([{ slot: 'B', refusal: { code: 'trial-ran-out' } }]);
      expect(back.started).toMatchObject({ image: 'A', state: 'kept' });
      expect(power().unit.state()!.fallen).toMatchObject([{ manifestDigest: SECOND.digest, tries }]);
    }
    expect(power().unit.install(requestOf(SECOND)).refusal?.code).toBe('fell-back-before');
    bringAndKeep(THIRD)(power().unit);
    expect(power().unit.state()!.floors.sequenceNumber).toBe(3n);
  });

  test('an image that is kept in the end is no longer held against itself', () => {
    const { power } = unitOn(TWO);
    bringAndKeep(FIRST)(power().unit);
    mustInstall(power().unit, SECOND);
    mustStart(power().unit, 2);
    mustStart(power().unit, 1);
    bringAndKeep(SECOND)(power().unit);
    expect(power().unit.state()!.fallen).toEqual([]);
  });

  test('where nothing else may run the image on trial starts again, and no restart loop wears the flash', () => {
    const { store, power } = unitOn(TWO);
    mustInstall(power().unit, FIRST);
    mustStart(power().unit, 1);
    const before = store.bytes.slice();
    for (let i = 0; i < 5; i++) {
      const again = power().unit.start();
      expect(again.started).toMatchObject({ image: 'A', state: 'on trial' });
      expect(again.steps[0]!.comparisons.some(({ found }) => String(found).includes('started again'))).toBe(
        true,
      );
    }
    expect(equal(store.bytes, before)).toBe(true);
    mustKeep(power().unit);
  });

  test('a kept image that no longer verifies is passed over for the next one', () => {
    const { store, power, layout } = unitOn(TWO);
    bringAndKeep(release(1, FIRST.image))(power().unit);
    bringAndKeep(release(2, SECOND.image))(power().unit);
    store.bytes[layout.slots[1].offset + 3]! ^= 0x10;
    const result = power().unit.start();
    expect(result.passedOver).toMatchObject([{ slot: 'B', refusal: { code: 'stored-image-wrong' } }]);
    expect(result.started).toMatchObject({ image: 'A', state: 'kept' });
  });

  test('a ready image that does not verify is never invoked and not tried again', () => {
    const { store, power, layout } = unitOn(TWO);
    bringAndKeep(FIRST)(power().unit);
    mustInstall(power().unit, SECOND);
    store.bytes[layout.slots[1].offset]! ^= 1;
    mustStart(power().unit, 1);
    expect(power().unit.marks()!.slots[1].state).toBe('empty');
    expect(power().unit.start().passedOver).toEqual([]);
  });

  test('another genuine release put into a slot does not start: the marks name what belongs there', () => {
    const { store, power, layout } = unitOn({ ...TWO, erased: 0x00 });
    bringAndKeep(release(1, FIRST.image))(power().unit);
    bringAndKeep(release(2, SECOND.image))(power().unit);
    for (const [from, to] of [
      [layout.slots[0], layout.slots[1]],
      [layout.envelopes[0], layout.envelopes[1]],
    ] as const) {
      store.bytes.copyWithin(to.offset, from.offset, from.offset + from.size);
    }
    const result = power().unit.start();
    expect(result.passedOver).toMatchObject([{ slot: 'B', refusal: { code: 'stored-envelope-wrong' } }]);
    expect(result.started).toMatchObject({ image: 'A' });
  });

  test('without marks of its own a unit starts nothing; with a recovery image it starts that', () => {
    for (const recovery of [false, true]) {
      const { store, power, layout } = unitOn({ ...TWO, recovery });
      bringAndKeep(FIRST)(power().unit);
      store.bytes.fill(0xa5, layout.state.offset, layout.state.offset + layout.state.size);
      const result = power().unit.start();
      expect(result.passedOver.map(({ refusal }) => refusal.code)).toEqual([
        'marks-unreadable',
        'marks-unreadable',
      ]);
      expect(result.started?.image ?? null).toBe(recovery ? 'recovery' : null);
      expect(power().unit.install(requestOf(SECOND)).refusal?.code).toBe('marks-lost');
    }
  });
});

describe('one running slot and a staging area (RFC 9019 section 4.1)', () => {
  test('an image that is not kept is followed by the recovery image, which may fetch the next one', () => {
    const { power } = unitOn({ ...STAGED, recovery: true });
    bringAndKeep(FIRST)(power().unit);
    mustInstall(power().unit, SECOND);
    mustStart(power().unit, 2);
    mustStart(power().unit, 'recovery');
    bringAndKeep(THIRD)(power().unit);
    mustStart(power().unit, 3);
  });

  test('it says what is lost before and while the running image is replaced', () => {
    const { power } = unitOn(STAGED);
    bringAndKeep(FIRST)(power().unit);
    const { steps } = power().unit.install(requestOf(SECOND));
    const lines = [...steps, ...power().unit.start().steps].flatMap(({ comparisons }) => comparisons);
    const ways = lines.filter(({ what }) => what === 'way back').map(({ found }) => String(found));
    expect(ways).toHaveLength(2);
    for (const way of ways) expect(way).toContain('no recovery image');
  });

  test('what an earlier start had moved and was changed since is moved again', () => {
    const big = release(2, imageOf(16 * 64, 4));
    const { store, power, layout } = unitOn({ ...STAGED, slotPages: 16 });
    bringAndKeep(FIRST)(power().unit);
    mustInstall(power().unit, big);
    expect(() => power({ after: 300, kind: 'middle' }).unit.start()).toThrow(PowerCut);
    expect(power().unit.marks()!.progress).toBeGreaterThan(0);
    store.bytes[layout.slots[0].offset]! ^= 1;
    mustStart(power().unit, 2);
  });

  test('while an image is being moved every install is refused', () => {
    const { power } = unitOn(STAGED);
    bringAndKeep(FIRST)(power().unit);
    mustInstall(power().unit, SECOND);
    expect(() => power({ after: 100, kind: 'after' }).unit.start()).toThrow(PowerCut);
    expect(power().unit.install(requestOf(THIRD)).refusal?.code).toBe('trial-in-progress');
    mustStart(power().unit, 2);
  });
});

describe('keep and floors (RFC 9124 section 4.3.1)', () => {
  test('only a running image on trial can be kept', () => {
    const { power, memory } = unitOn(TWO);
    expect(power().unit.keep().refusal?.code).toBe('nothing-on-trial');
    mustInstall(power().unit, FIRST);
    expect(power().unit.keep().refusal?.code).toBe('nothing-on-trial');
    mustStart(power().unit, 1);
    memory.running = undefined;
    expect(power().unit.keep().refusal?.code).toBe('nothing-on-trial');
  });

  test('a power cut ends what runs', () => {
    const { power, memory } = unitOn(TWO);
    mustInstall(power().unit, FIRST);
    mustStart(power().unit, 1);
    expect(() => power({ after: 0, kind: 'before' }).unit.keep()).toThrow(PowerCut);
    expect(memory.running).toBeUndefined();
  });

  test('keeping raises the floors to what is kept; again it is "already kept"', () => {
    const { store, power } = unitOn(TWO);
    bringAndKeep(SECOND)(power().unit);
    expect(power().unit.state()!.floors).toEqual({
      sequenceNumber: 2n,
      securityVersion: 1,
      signerGeneration: 0,
    });
    const before = store.bytes.slice();
    expect(power().unit.keep()).toMatchObject({ verdict: 'accepted', already: true });
    expect(equal(store.bytes, before)).toBe(true);
    expect(power().unit.install(requestOf(FIRST)).refusal?.code).toBe('sequence-number-too-low');
  });

  test('an image that no longer verifies is not kept', () => {
    const { store, power, layout } = unitOn(TWO);
    mustInstall(power().unit, FIRST);
    mustStart(power().unit, 1);
    store.bytes[layout.slots[0].offset]! ^= 1;
    expect(power().unit.keep().refusal?.code).toBe('floor-would-strand');
    expect(power().unit.state()!.floors.sequenceNumber).toBe(0n);
  });

  test('no floor rises above every image that could start, and none ever falls', () => {
    const { power } = unitOn({ ...TWO, recovery: true });
    bringAndKeep(SECOND)(power().unit);
    expect(power().unit.raiseFloors({ securityVersion: 2 }).refusal?.code).toBe('floor-would-strand');
    expect(power().unit.raiseFloors({ securityVersion: 1, signerGeneration: 4 }).verdict).toBe('accepted');
    expect(power().unit.raiseFloors({ sequenceNumber: 1n, signerGeneration: 2 })).toMatchObject({
      already: true,
    });
    expect(power().unit.state()!.floors).toEqual({
      sequenceNumber: 2n,
      securityVersion: 1,
      signerGeneration: 4,
    });
    mustStart(power().unit, 2);
  });

  test('a hundred updates wear slots once each and the state area a few times', () => {
    const { power, layout } = unitOn({ ...TWO, bankRecords: 13 });
    for (let number = 1; number <= 100; number++) bringAndKeep(release(number, FIRST.image))(power().unit);
    const { flash } = power();
    const most = ({ offset, size }: { offset: number; size: number }) =>
      Math.max(...flash.wear(offset, size));
    expect(most(layout.slots[0])).toBe(50);
    expect(most(layout.slots[1])).toBe(50);
    expect(most(layout.envelopes[0])).toBe(50);
    expect(most(layout.state)).toBeLessThan(50);
  });
});

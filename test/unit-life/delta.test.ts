/** Installing by delta: docs/deployment-profile.md section 14. The running slot is only read, whatever happens. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { concat, equal, fromHex, sourceOf } from '../../src/bytes/index.ts';
import type { MemoryMap, SlotShape } from '../../src/image/index.ts';
import {
  beginLife,
  type Cut,
  createUnitFile,
  memoryStore,
  openUnit,
  openUnitFile,
  PowerCut,
  type Store,
  type UnitRecord,
  unitFileLayout,
} from '../../src/unit/index.ts';
import { edited } from '../delta/helpers.ts';
import { type DeltaOptions, deltaOf, deltaRelease, memoryFor } from '../unit/deltas.ts';
import { imageOf, makerChain, release, signedBy, unitOf } from '../unit/maker.ts';
import { seededNoise } from './noise.ts';

const MARKS_KEY = '5a'.repeat(32);
const chain = await makerChain();
const seal = signedBy(chain);
type Memory = Store & { readonly bytes: Uint8Array };

function recordOf(memory: MemoryMap): UnitRecord {
  return unitOf(chain, { record: { memory } }).record;
}

function newUnit(record: UnitRecord): Memory {
  const store = memoryStore(unitFileLayout(record.memory).size);
  const file = createUnitFile(store, { record, marksKey: { trial_hex: MARKS_KEY }, recovery: undefined });
  beginLife(record, file.flash({ noise: seededNoise(1) }), fromHex(MARKS_KEY));
  return store;
}

function power(store: Store, cut?: Cut) {
  const { record, memory, flash: flashOf } = openUnitFile(store);
  const flash = flashOf({ noise: seededNoise(2), cut });
  return { ...openUnit({ record, macKeys: new Map(), marksKey: fromHex(MARKS_KEY), flash, memory }), flash };
}

const copyOf = ({ bytes }: Memory): Memory => memoryStore(bytes.length, bytes.slice()) as Memory;
const offer = ({ envelope }: { envelope: Uint8Array }, image?: Uint8Array) => ({
  envelope: sourceOf(envelope),
  image: image && sourceOf(image),
});

function slot(store: Store, index: number, length: number): Uint8Array {
  const { flash, layout } = power(store);
  return flash.read(layout.slots[index]!.offset, length);
}

/** A unit that keeps the release of these images, number 1. */
async function unitWith(
  shape: SlotShape,
  images: readonly Uint8Array[],
  changes: Partial<MemoryMap> = {},
): Promise<Memory> {
  const store = newUnit(recordOf(memoryFor(shape, changes)));
  power(store).install(offer(await release({ shape, images, seal, sequenceNumber: 1 })));
  power(store).start();
  power(store).keep();
  return store;
}

const update = (shape: SlotShape, images: readonly Uint8Array[], changes: Partial<DeltaOptions>) =>
  deltaRelease({ shape, images, precursors: [], seal, sequenceNumber: 2, ...changes });

describe('a life by deltas', () => {
  const old = [imageOf(9000, 1), imageOf(9100, 2)] as const;
  const next = old.map((image, i) => edited(image, i + 3, 8));
  const third = next.map((image, i) => edited(image, i + 9, 8));

  test.each(['remapped', 'position-independent', 'staged'] as const)(
    '%s: installed, started, kept, and from there the next',
    async (shape) => {
      const store = await unitWith(shape, [old[0]]);
      const first = await update(shape, [next[0]!], { precursors: [old[0]] });
      const installed = power(store).install(offer(first));
      expect(installed).toMatchObject({
        verdict: 'accepted',
        refusal: null,
        facts: { effect: 'new install' },
      });
      expect(installed.facts.delta?.size).toBe(first.deltas[0]!.length);
      expect(power(store).install(offer(first)).facts.effect).toBe('already there');
      expect(power(store).start().started).toMatchObject({
        state: 'on trial',
        facts: { sequenceNumber: 2n },
      });
      expect(power(store).keep().verdict).toBe('accepted');
      const second = await update(shape, [third[0]!], { precursors: [next[0]!], sequenceNumber: 3 });
      expect(power(store).install(offer(second))).toMatchObject({ verdict: 'accepted', refusal: null });
      expect(power(store).start().started?.facts?.sequenceNumber).toBe(3n);
      expect(equal(slot(store, 0, third[0]!.length), third[0]!)).toBe(true);
    },
  );

  test('linked slots: from A into B, and back into A', async () => {
    const store = await unitWith('linked', old);
    const first = await update('linked', next, { precursors: [old[1], old[0]] });
    expect(power(store).install(offer(first))).toMatchObject({ verdict: 'accepted', slot: 'B' });
    power(store).start();
    power(store).keep();
    expect(equal(slot(store, 1, next[1]!.length), next[1]!)).toBe(true);
    const second = await update('linked', third, { precursors: [next[1]!, next[0]!], sequenceNumber: 3 });
    expect(power(store).install(offer(second))).toMatchObject({ verdict: 'accepted', slot: 'A' });
    expect(equal(slot(store, 0, third[0]!.length), third[0]!)).toBe(true);
  });

  test('RFC 9124 4.2.10: the wrong precursor: not one byte of flash changes, and the whole image helps', async () => {
    const store = await unitWith('remapped', [imageOf(9000, 8)]);
    const made = await update('remapped', [next[0]!], { precursors: [old[0]] });
    const before = store.bytes.slice();
    const refused = power(store).install(offer(made));
    expect(refused.refusal).toMatchObject({ code: 'precursor-wrong', step: 'fit' });
    expect(equal(store.bytes, before)).toBe(true);
    expect(power(store).install(offer(made, next[0]))).toMatchObject({ verdict: 'accepted', refusal: null });
    expect(power(store).start().started?.facts?.sequenceNumber).toBe(2n);
  });

  test('an empty unit takes the whole image of the same release', async () => {
    const store = newUnit(recordOf(memoryFor('remapped')));
    const made = await update('remapped', [next[0]!], { precursors: [old[0]] });
    expect(power(store).install(offer(made)).refusal?.code).toBe('precursor-wrong');
    expect(power(store).install(offer(made, next[0])).verdict).toBe('accepted');
  });
});

describe('what goes wrong while it is applied leaves what runs as it was', () => {
  const OLD = imageOf(9000, 1);
  const NEW = edited(OLD, 5, 6);
  /** The last window ends in an instruction that cannot be followed, or in other bytes. */
  const broken = deltaOf(OLD, NEW).map((byte, i, all) => (i === all.length - 1 ? byte ^ 0x7f : byte));
  const other = deltaOf(
    OLD,
    NEW.map((byte, i) => (i === 8000 ? byte ^ 1 : byte)),
  );

  test.each(['remapped', 'staged'] as const)('%s: sealed wrongly', async (shape) => {
    const start = await unitWith(shape, [OLD]);
    for (const delta of [broken, other]) {
      const store = copyOf(start);
      const made = await update(shape, [NEW], { precursors: [OLD], deltas: [delta] });
      const { refusal } = power(store).install(offer(made));
      expect(['delta-malformed', 'image-digest-wrong']).toContain(refusal?.code);
      expect(equal(slot(store, 0, OLD.length), OLD)).toBe(true);
      expect(
        power(store)
          .marks()
          ?.slots.map(({ state }) => state),
      ).toEqual(['kept', 'empty']);
      expect(power(store).start().started?.facts?.sequenceNumber).toBe(1n);
    }
  });
});

const CUT_OLD = imageOf(700, 1);
const CUT_NEW = edited(CUT_OLD, 5, 6);

describe('[M] 6.3.1: power goes at every write', () => {
  /** Small pages, so that an install is some hundred operations and each can be cut. */
  const SMALL: Partial<MemoryMap> = {
    slots: [
      { name: 'A', address: 0, size: 1024 },
      { name: 'B', address: 1024, size: 1024 },
    ],
    envelopes: { address: 2048, size: 8192 },
    state: { address: 10_240, size: 4096 },
    flash: { erase_page: 128, write_unit: 16, erased_value: 0xff, endurance: 100_000 },
    delta_window: 200,
  };

  test.each(['remapped', 'staged'] as const)(
    '%s: the old or the new starts; the install goes on and ends in the new',
    async (shape) => {
      const { recovery: _, link_address: __, ...memory } = memoryFor(shape, SMALL);
      const start = newUnit(recordOf(memory));
      power(start).install(offer(await release({ shape, images: [CUT_OLD], seal, sequenceNumber: 1 })));
      power(start).start();
      power(start).keep();
      const made = await update(shape, [CUT_NEW], {
        precursors: [CUT_OLD],
        deltas: [deltaOf(CUT_OLD, CUT_NEW, 200)],
      });
      const whole = power(copyOf(start));
      expect(whole.install(offer(made))).toMatchObject({ verdict: 'accepted', refusal: null });
      const operations = whole.flash.operations;
      expect(operations).toBeGreaterThan(40);
      for (let after = 0; after < operations; after++) {
        for (const kind of ['before', 'middle', 'after'] as const) {
          const store = copyOf(start);
          expect(() => power(store, { after, kind }).install(offer(made))).toThrow(PowerCut);
          expect({ after, kind, ...statesAfter(store, made) }).toEqual({ after, kind, ...SOUND });
        }
      }
    },
  );
});

/** What must be so after a cut: before a start, after one, and once the install went on. */
const SOUND = { untouched: true, genuine: true, goesOn: 'accepted', endsWith: 2n };

function statesAfter(store: Memory, made: { envelope: Uint8Array }): typeof SOUND {
  const untouched = equal(slot(store, 0, CUT_OLD.length), CUT_OLD);
  const restarted = copyOf(store);
  const { started } = power(restarted).start();
  const image = started?.facts?.sequenceNumber === 2n ? CUT_NEW : CUT_OLD;
  const index = power(store).record.memory.slots.findIndex(({ name }) => name === started?.image);
  const genuine = equal(slot(restarted, index, image.length), image);
  const goesOn = power(store).install(offer(made)).verdict;
  return { untouched, genuine, goesOn, endsWith: power(store).start().started?.facts?.sequenceNumber ?? 0n };
}

describe('any edit of any image', () => {
  test('a unit that runs the old ends with the new, byte for byte, in its free slot', async () => {
    const memory = memoryFor('remapped', { delta_window: 512 });
    const bytes = fc.uint8Array({ minLength: 1, maxLength: 5000 }).map((all) => Uint8Array.from(all));
    await fc.assert(
      fc.asyncProperty(bytes, fc.integer(), fc.integer({ min: 0, max: 12 }), async (old, seed, edits) => {
        const image = concat(edited(old, seed, edits), fromHex('01'));
        const store = newUnit(recordOf(memory));
        power(store).install(offer(await release({ images: [old], seal, sequenceNumber: 1 })));
        power(store).start();
        power(store).keep();
        const deltas = [deltaOf(old, image, 512)];
        const made = await update('remapped', [image], { precursors: [old], deltas });
        expect(power(store).install(offer(made))).toMatchObject({ verdict: 'accepted', refusal: null });
        expect(equal(slot(store, 1, image.length), image)).toBe(true);
        expect(equal(slot(store, 0, old.length), old)).toBe(true);
      }),
      { numRuns: 40 },
    );
  });
});

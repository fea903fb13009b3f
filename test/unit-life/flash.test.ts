import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import type { FlashGeometry } from '../../src/image/index.ts';
import { FlashError, PowerCut } from '../../src/unit/flash.ts';
import { type Cut, EmulatedFlash } from '../../src/unit/flash-emulated.ts';
import { memoryStore, noteSize } from '../../src/unit/flash-pages.ts';
import { seededNoise } from './noise.ts';

const PAGES = 4;

function geometryOf(changes: Partial<FlashGeometry> = {}): FlashGeometry {
  return { erase_page: 64, write_unit: 8, erased_value: 0xff, endurance: 1000, ...changes };
}

function flashOf(geometry: FlashGeometry) {
  const size = PAGES * geometry.erase_page;
  const store = memoryStore(size + PAGES * noteSize(geometry));
  const place = { dataOffset: 0, size, notesOffset: size };
  const power = (cut?: Cut, seed = 1) =>
    new EmulatedFlash(store, place, geometry, { noise: seededNoise(seed), cut });
  return { store, power };
}

const filled = (length: number, value: number) => new Uint8Array(length).fill(value);

function codeOf(body: () => void): string {
  try {
    body();
  } catch (error) {
    if (error instanceof FlashError) return error.code;
    throw error;
  }
  return 'none';
}

describe('NOR flash: program once, erase whole pages (common practice; device data sheets)', () => {
  test.each([0x00, 0xff, 0xa5])('a new flash reads as erased: %i', (erased_value) => {
    const { power } = flashOf(geometryOf({ erased_value }));
    expect(power().read(0, 256)).toEqual(filled(256, erased_value));
  });

  test('what was programmed is read, by another process too', () => {
    const { power } = flashOf(geometryOf());
    power().program(56, filled(24, 0x21));
    expect(power().read(56, 24)).toEqual(filled(24, 0x21));
    expect(power().read(80, 8)).toEqual(filled(8, 0xff));
  });

  test('a write unit is programmed once after each erase, with the erased value too', () => {
    const { power } = flashOf(geometryOf());
    const flash = power();
    flash.program(0, filled(8, 0xff));
    expect(codeOf(() => flash.program(0, filled(8, 0x00)))).toBe('not-erased');
    flash.erase(0, 64);
    expect(codeOf(() => flash.program(0, filled(8, 0x00)))).toBe('none');
  });

  test('nothing of a refused program happens', () => {
    const { power } = flashOf(geometryOf());
    const flash = power();
    flash.program(16, filled(8, 1));
    expect(codeOf(() => flash.program(0, filled(32, 2)))).toBe('not-erased');
    expect(flash.read(0, 16)).toEqual(filled(16, 0xff));
  });

  test('bytes changed behind its back count as programmed: notes are not trusted alone', () => {
    for (const erased_value of [0x00, 0xff]) {
      const { store, power } = flashOf(geometryOf({ erased_value }));
      store.bytes[3] = 0x40;
      expect(power().read(3, 1)[0]).toBe(0x40 ^ erased_value);
      expect(codeOf(() => power().program(0, filled(8, 1)))).toBe('not-erased');
      power().erase(0, 64);
      expect(power().read(0, 64)).toEqual(filled(64, erased_value));
      expect(codeOf(() => power().program(0, filled(8, 1)))).toBe('none');
    }
  });

  test('boundaries and ranges', () => {
    const flash = flashOf(geometryOf()).power();
    expect(codeOf(() => flash.program(4, filled(8, 0)))).toBe('misaligned');
    expect(codeOf(() => flash.program(0, filled(7, 0)))).toBe('misaligned');
    expect(codeOf(() => flash.erase(32, 64))).toBe('misaligned');
    expect(codeOf(() => flash.erase(0, 32))).toBe('misaligned');
    expect(codeOf(() => flash.read(250, 7))).toBe('out-of-range');
    expect(codeOf(() => flash.read(-1, 1))).toBe('out-of-range');
    expect(codeOf(() => flash.program(256, filled(8, 0)))).toBe('out-of-range');
  });

  test('wear is counted for each page and ends at the endurance', () => {
    const { power } = flashOf(geometryOf({ endurance: 3 }));
    const flash = power();
    for (let i = 0; i < 3; i++) flash.erase(64, 64);
    expect(flash.wear(0, 256)).toEqual([0, 3, 0, 0]);
    expect(codeOf(() => flash.erase(64, 64))).toBe('worn-out');
    expect(codeOf(() => flash.erase(0, 64))).toBe('none');
    flash.program(64, filled(8, 1));
    expect(flash.read(64, 8)).toEqual(filled(8, 1));
  });

  test('a flash behaves like an array with rules, whatever the order of operations', () => {
    const operation = fc.oneof(
      fc.record({ kind: fc.constant('erase' as const), page: fc.nat(PAGES - 1) }),
      fc.record({
        kind: fc.constant('program' as const),
        unit: fc.nat(31),
        count: fc.integer({ min: 1, max: 12 }),
        value: fc.nat(255),
      }),
    );
    fc.assert(
      fc.property(
        fc.constantFrom(0x00, 0xff),
        fc.array(operation, { maxLength: 30 }),
        (erased_value, operations) => {
          const { power } = flashOf(geometryOf({ erased_value }));
          const model = filled(256, erased_value);
          const taken = new Set<number>();
          for (const each of operations) {
            if (each.kind === 'erase') {
              power().erase(each.page * 64, 64);
              model.fill(erased_value, each.page * 64, each.page * 64 + 64);
              for (let unit = 0; unit < 8; unit++) taken.delete(each.page * 8 + unit);
              continue;
            }
            const count = Math.min(each.count, 32 - each.unit);
            const units = Array.from({ length: count }, (_, i) => each.unit + i);
            const refused =
              codeOf(() => power().program(each.unit * 8, filled(count * 8, each.value))) !== 'none';
            expect(refused).toBe(units.some((unit) => taken.has(unit)));
            if (refused) continue;
            for (const unit of units) taken.add(unit);
            model.fill(each.value, each.unit * 8, (each.unit + count) * 8);
          }
          expect(power().read(0, 256)).toEqual(model);
        },
      ),
    );
  });
});

describe('power cuts', () => {
  test.each([
    ['before', 2],
    ['after', 3],
  ] as const)(
    '%s operation 2: %i write units are programmed, and nothing happens after it',
    (kind, whole) => {
      const { power } = flashOf(geometryOf());
      const flash = power({ after: 2, kind });
      expect(() => flash.program(0, filled(64, 0))).toThrow(PowerCut);
      for (const act of [
        () => flash.read(0, 1),
        () => flash.erase(0, 64),
        () => flash.program(64, filled(8, 0)),
      ]) {
        expect(act).toThrow(PowerCut);
      }
      expect(power().read(0, 64)).toEqual(
        Uint8Array.from({ length: 64 }, (_, i) => (i < whole * 8 ? 0 : 0xff)),
      );
    },
  );

  test('operations are pages erased and write units programmed', () => {
    const flash = flashOf(geometryOf()).power();
    flash.erase(0, 128);
    flash.program(0, filled(24, 0));
    expect(flash.operations).toBe(5);
  });

  test('a cut behind the last operation does not come', () => {
    const flash = flashOf(geometryOf()).power({ after: 3, kind: 'middle' });
    expect(() => flash.program(0, filled(24, 0))).not.toThrow();
  });

  test.each([0x00, 0xff])(
    'in the middle of a program: unstable until the page is erased (erased %i)',
    (erased_value) => {
      const { power } = flashOf(geometryOf({ erased_value }));
      const wanted = filled(8, 0x5a);
      expect(() => power({ after: 1, kind: 'middle' }).program(8, filled(24, 0x5a))).toThrow(PowerCut);
      const readings = new Set(
        Array.from({ length: 60 }, (_, seed) => power(undefined, seed).read(16, 8).join()),
      );
      expect(readings.size).toBeGreaterThan(10);
      expect(readings).toContain(wanted.join());
      for (const reading of readings) {
        const flipped = reading.split(',').map((byte) => Number(byte) ^ erased_value);
        expect(flipped.every((bits) => (bits & ~(0x5a ^ erased_value)) === 0)).toBe(true);
      }
      expect(power().read(8, 8)).toEqual(wanted);
      expect(power().read(24, 8)).toEqual(filled(8, erased_value));
      expect(codeOf(() => power().program(16, wanted))).toBe('not-erased');
      power().erase(0, 64);
      expect(power().read(16, 8)).toEqual(filled(8, erased_value));
      expect(codeOf(() => power().program(16, wanted))).toBe('none');
    },
  );

  test('in the middle of an erase: the page reads unstable, and must be erased again', () => {
    const { power } = flashOf(geometryOf());
    power().program(0, filled(128, 0x0f));
    expect(() => power({ after: 1, kind: 'middle' }).erase(0, 128)).toThrow(PowerCut);
    const readings = new Set(
      Array.from({ length: 40 }, (_, seed) => power(undefined, seed).read(64, 64).join()),
    );
    expect(readings.size).toBeGreaterThan(10);
    expect(readings).toContain(filled(64, 0x0f).join());
    expect(power().read(0, 64)).toEqual(filled(64, 0xff));
    expect(power().wear(0, 128)).toEqual([1, 1]);
    expect(codeOf(() => power().program(64, filled(8, 0)))).toBe('not-erased');
    power().erase(64, 64);
    expect(power().read(64, 64)).toEqual(filled(64, 0xff));
  });

  test('a process killed between any two writes to its store leaves no more than a power cut could', () => {
    const geometry = geometryOf();
    for (let killedAt = 0; killedAt < 12; killedAt++) {
      const { store, power } = flashOf(geometry);
      power().program(0, filled(64, 0x11));
      let writes = 0;
      const dying = {
        ...store,
        write: (offset: number, bytes: Uint8Array) => {
          if (writes++ >= killedAt) throw new Error('killed');
          store.write(offset, bytes);
        },
      };
      const flash = new EmulatedFlash(dying, { dataOffset: 0, size: 256, notesOffset: 256 }, geometry, {
        noise: seededNoise(1),
      });
      try {
        flash.erase(0, 64);
        flash.program(0, filled(64, 0x22));
        flash.program(64, filled(64, 0x33));
      } catch (error) {
        if (!(error instanceof Error && error.message === 'killed')) throw error;
      }
      power().erase(0, 128);
      expect(power().read(0, 256)).toEqual(filled(256, 0xff));
      power().program(0, filled(128, 0x44));
      expect(power().read(0, 128)).toEqual(filled(128, 0x44));
    }
  });
});

import { describe, expect, test } from 'vitest';
import type { FlashGeometry } from '../../src/image/index.ts';
import { type Flash, PowerCut } from '../../src/unit/flash.ts';
import { type Cut, type CutKind, EmulatedFlash } from '../../src/unit/flash-emulated.ts';
import { memoryStore, noteSize } from '../../src/unit/flash-pages.ts';
import { EMPTY_SLOT, type Marks } from '../../src/unit/marks.ts';
import { MarksJournal } from '../../src/unit/marks-journal.ts';
import { recordSize } from '../../src/unit/marks-record.ts';
import { seededNoise } from './noise.ts';

const PAGE = 64;
const KEY = new Uint8Array(32).fill(7);
const KINDS: readonly CutKind[] = ['before', 'middle', 'after'];

function geometryOf(write_unit: number, erased_value: number): FlashGeometry {
  return { erase_page: PAGE, write_unit, erased_value, endurance: 1_000_000 };
}

/** A state area of two banks of `records` records each, alone in its flash. */
function stateArea(geometry: FlashGeometry, records: number) {
  const bank = Math.ceil((records * recordSize(geometry).whole) / PAGE) * PAGE;
  const size = 2 * bank;
  const store = memoryStore(size + (size / PAGE) * noteSize(geometry));
  const open = (noise: () => number, cut?: Cut) =>
    new EmulatedFlash(store, { dataOffset: 0, size, notesOffset: size }, geometry, { noise, cut });
  return { store, area: { offset: 0, size }, open };
}

function marksOf(number: number): Marks {
  const floors = { sequenceNumber: BigInt(number), securityVersion: number, signerGeneration: 1 };
  return { slots: [EMPTY_SLOT, EMPTY_SLOT], progress: 0, floors, fallen: [] };
}

const numberIn = (journal: MarksJournal) => Number(journal.marks!.floors.sequenceNumber);

describe('marks journal: what was acted on is found again (draft-ietf-suit-manifest 6.3.1)', () => {
  for (const [unit, erased] of [
    [1, 0xff],
    [4, 0x00],
    [8, 0xff],
    [16, 0x00],
  ] as const) {
    test(`write unit ${unit}, erased value ${erased}: any number of cuts in a row, at any place`, () => {
      const noise = seededNoise(unit * 1000 + erased);
      const geometry = geometryOf(unit, erased);
      const perRecord = recordSize(geometry).whole / unit;
      for (let run = 0; run < 500; run++) cutAtWill(geometry, perRecord, noise, 3 + (run % 2));
    });
  }

  /** Anywhere, or in the middle of a commit mark of the first record: behind an erased bank or not. */
  function drawCut(noise: () => number, perRecord: number, pages: number): Cut {
    if (noise() < 0.4) {
      return { after: Math.floor(noise() * noise() * 3 * perRecord), kind: KINDS[Math.floor(noise() * 3)]! };
    }
    const erased = noise() < 0.5 ? pages : 0;
    return { after: erased + perRecord - 3 + Math.floor(noise() * 3), kind: 'middle' };
  }

  function cutAtWill(geometry: FlashGeometry, perRecord: number, noise: () => number, records: number): void {
    const { area, open } = stateArea(geometry, records);
    new MarksJournal(open(noise), area, KEY).write(marksOf(1));
    let acted = 1;
    let attempted = 1;
    for (let session = 0; session < 14; session++) {
      const cut = drawCut(noise, perRecord, area.size / 2 / PAGE);
      try {
        const journal = new MarksJournal(open(noise, session % 5 === 4 ? undefined : cut), area, KEY);
        expect(numberIn(journal)).toBeGreaterThanOrEqual(acted);
        expect(numberIn(journal)).toBeLessThanOrEqual(attempted);
        journal.settle();
        expect(journal.settled).toBe(true);
        acted = numberIn(journal);
        for (let writes = Math.floor(noise() * 4); writes > 0; writes--) {
          attempted += 1;
          journal.write(marksOf(attempted));
          acted = attempted;
        }
      } catch (error) {
        if (!(error instanceof PowerCut)) throw error;
      }
    }
  }
});

describe('marks journal: rules of one record', () => {
  const geometry = geometryOf(8, 0xff);
  const sealedUnits = recordSize(geometry).sealed / 8;
  const LUCKY = () => 0.1;
  const UNLUCKY = () => 0.3;

  function cutWriting(
    open: ReturnType<typeof stateArea>['open'],
    area: { offset: number; size: number },
    cut: Cut,
  ) {
    const act = () => {
      const journal = new MarksJournal(open(LUCKY, cut), area, KEY);
      journal.settle();
      journal.write(marksOf(numberIn(journal) + 1));
    };
    expect(act).toThrow(PowerCut);
  }

  test('a full bank in which no record is sure is begun again, and the bank left before stays', () => {
    const { area, open } = stateArea(geometry, 3);
    const journal = new MarksJournal(open(LUCKY), area, KEY);
    for (const number of [1, 2, 3]) journal.write(marksOf(number));
    const pages = area.size / 2 / PAGE;
    cutWriting(open, area, { after: pages + sealedUnits, kind: 'middle' });
    cutWriting(open, area, { after: sealedUnits, kind: 'middle' });
    cutWriting(open, area, { after: sealedUnits, kind: 'middle' });
    cutWriting(open, area, { after: pages, kind: 'before' });
    expect(numberIn(new MarksJournal(open(UNLUCKY), area, KEY))).toBe(3);
  });

  test('a record that was cut short never counts, whatever its bits read as', () => {
    const { area, open } = stateArea(geometry, 3);
    new MarksJournal(open(LUCKY), area, KEY).write(marksOf(1));
    cutWriting(open, area, { after: sealedUnits, kind: 'before' });
    for (const luck of [LUCKY, UNLUCKY]) {
      expect(numberIn(new MarksJournal(open(luck), area, KEY))).toBe(1);
    }
  });

  test('only what was written under the key of this unit counts (RFC 2104)', () => {
    const { area, open } = stateArea(geometry, 3);
    new MarksJournal(open(LUCKY), area, new Uint8Array(32).fill(8)).write(marksOf(9));
    const journal = new MarksJournal(open(LUCKY), area, KEY);
    expect(journal.marks).toBeUndefined();
    expect(journal.damaged).toBe(1);
  });

  test('a record at another position than its own does not count', () => {
    const { store, area, open } = stateArea(geometryOf(8, 0x00), 3);
    const journal = new MarksJournal(open(LUCKY), area, KEY);
    for (const number of [1, 2]) journal.write(marksOf(number));
    const { whole } = recordSize(geometry);
    const bank = area.size / 2;
    store.bytes.copyWithin(bank + 2 * whole, bank, bank + whole);
    const found = new MarksJournal(open(LUCKY), area, KEY);
    expect(numberIn(found)).toBe(2);
    expect(found.damaged).toBe(1);
  });

  test('marks come back as they were written', () => {
    const { area, open } = stateArea(geometry, 3);
    const digest = (byte: number) => new Uint8Array(32).fill(byte);
    const marks: Marks = {
      slots: [
        { state: 'kept', sequenceNumber: 2n ** 64n - 1n, manifestDigest: digest(1), envelopeLength: 4095 },
        { state: 'on trial', sequenceNumber: 2n ** 53n + 1n, manifestDigest: digest(2), envelopeLength: 1 },
      ],
      progress: 2 ** 32 - 1,
      floors: { sequenceNumber: 2n ** 63n, securityVersion: 2 ** 32 - 1, signerGeneration: 7 },
      fallen: [1, 2, 3, 255].map((tries) => ({ manifestDigest: digest(tries), tries })),
    };
    new MarksJournal(open(LUCKY), area, KEY).write(marks);
    expect(new MarksJournal(open(LUCKY), area, KEY).marks).toEqual(marks);
  });

  test('banks take turns, so that wear is shared; an update costs few erases', () => {
    const { area, open } = stateArea(geometry, 4);
    const flash = open(LUCKY);
    const journal = new MarksJournal(flash, area, KEY);
    for (let number = 1; number <= 80; number++) journal.write(marksOf(number));
    const wear = flash.wear(0, area.size);
    expect(Math.max(...wear) - Math.min(...wear)).toBeLessThanOrEqual(1);
    expect(Math.max(...wear)).toBe(10);
  });

  test('a place that does not take a record is passed over', () => {
    const { area, open } = stateArea(geometry, 3);
    const flash = open(LUCKY);
    let spoil = 0;
    const failing: Flash = {
      size: flash.size,
      geometry: flash.geometry,
      read: (offset, length) => flash.read(offset, length),
      erase: (offset, length) => flash.erase(offset, length),
      program: (offset, bytes) =>
        flash.program(offset, spoil-- > 0 ? bytes.map((byte) => byte & 0xfe) : bytes),
    };
    const journal = new MarksJournal(failing, area, KEY);
    journal.write(marksOf(1));
    spoil = 1;
    journal.write(marksOf(2));
    expect(numberIn(new MarksJournal(flash, area, KEY))).toBe(2);
  });
});

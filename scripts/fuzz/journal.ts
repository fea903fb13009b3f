/** The marks of a unit as its state area holds them, read back after somebody changed the area. */
import type { FlashGeometry } from '../../src/image/index.ts';
import { noteSize } from '../../src/unit/flash-pages.ts';
import { EmulatedFlash, memoryStore } from '../../src/unit/index.ts';
import { EMPTY_SLOT, type Marks } from '../../src/unit/marks.ts';
import { MarksJournal } from '../../src/unit/marks-journal.ts';
import { promise } from './target.ts';

const PAGE = 512;
const SIZE = 4 * PAGE;
const GEOMETRY: FlashGeometry = { erase_page: PAGE, write_unit: 8, erased_value: 0xff, endurance: 100_000 };
const AREA = { offset: 0, size: SIZE };
/** TEST KEY. */
const KEY = new Uint8Array(32).fill(0x66);

function overBytes(state?: Uint8Array) {
  const store = memoryStore(SIZE + (SIZE / PAGE) * noteSize(GEOMETRY));
  const place = { dataOffset: 0, size: SIZE, notesOffset: SIZE };
  const flash = new EmulatedFlash(store, place, GEOMETRY, { noise: () => 0.5 });
  if (state) for (let page = 0; page < SIZE / PAGE; page++) program(flash, page * PAGE, state);
  return { store, flash };
}

function program(flash: EmulatedFlash, at: number, state: Uint8Array): void {
  const page = new Uint8Array(PAGE).fill(GEOMETRY.erased_value);
  page.set(state.subarray(at, at + PAGE));
  flash.program(at, page);
}

const marksAt = (number: number): Marks => ({
  slots: [
    {
      state: 'kept',
      sequenceNumber: BigInt(number),
      manifestDigest: new Uint8Array(32).fill(number),
      envelopeLength: 400,
    },
    EMPTY_SLOT,
  ],
  progress: 0,
  floors: { sequenceNumber: BigInt(number), securityVersion: 1, signerGeneration: 0 },
  fallen: [],
});

/** State areas after one, three, and as many writes as make both banks turn. */
export function journals(): Uint8Array[] {
  return [1, 3, 14].map((writes) => {
    const { store, flash } = overBytes();
    const journal = new MarksJournal(flash, AREA, KEY);
    for (let number = 1; number <= writes; number++) journal.write(marksAt(number));
    return store.bytes.slice(0, SIZE);
  });
}

/** Whatever stands there: marks that this unit wrote, or none. And the journal can be written on. */
export function readJournal(input: Uint8Array): string {
  const { flash } = overBytes(input);
  const journal = new MarksJournal(flash, AREA, KEY);
  const { marks, damaged } = journal;
  const number = marks ? Number(marks.floors.sequenceNumber) : 0;
  promise(!marks || (number >= 1 && number <= 14), 'marks are those that were written');
  journal.write(marksAt(20));
  promise(
    new MarksJournal(flash, AREA, KEY).marks?.floors.sequenceNumber === 20n,
    'what is written last counts',
  );
  return `accepted ${number} ${damaged}`;
}

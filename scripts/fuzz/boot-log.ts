/** The boot log of a unit as its area holds it, read back after somebody changed the area. */
import type { FlashGeometry } from '../../src/image/index.ts';
import { BootLog } from '../../src/unit/boot-log.ts';
import type { BootEntry } from '../../src/unit/boot-record.ts';
import { noteSize } from '../../src/unit/flash-pages.ts';
import { EmulatedFlash, memoryStore } from '../../src/unit/index.ts';
import { promise } from './target.ts';

const PAGE = 512;
const SIZE = 4 * PAGE;
const GEOMETRY: FlashGeometry = { erase_page: PAGE, write_unit: 8, erased_value: 0xff, endurance: 100_000 };
const AREA = { offset: 0, size: SIZE };
/** TEST KEY. */
const KEY = new Uint8Array(32).fill(0x66);

function overBytes(area?: Uint8Array) {
  const store = memoryStore(SIZE + (SIZE / PAGE) * noteSize(GEOMETRY));
  const flash = new EmulatedFlash(store, { dataOffset: 0, size: SIZE, notesOffset: SIZE }, GEOMETRY, {
    noise: () => 0.5,
  });
  for (let at = 0; area && at < SIZE; at += PAGE) {
    const page = new Uint8Array(PAGE).fill(GEOMETRY.erased_value);
    page.set(area.subarray(at, at + PAGE));
    flash.program(at, page);
  }
  return { store, flash };
}

const entryAt = (count: number): BootEntry => ({
  kind: 'start',
  runs: 0,
  state: 'kept',
  count,
  sequenceNumber: BigInt(count),
  imageDigest: new Uint8Array(32).fill(count),
  seed: new Uint8Array(16).fill(count),
  failures: ['stored-image-wrong'],
});

/** Logs after one, three, and as many starts as make both banks turn. */
export function bootLogs(): Uint8Array[] {
  return [1, 3, 14].map((starts) => {
    const { store, flash } = overBytes();
    const log = new BootLog(flash, AREA, KEY);
    for (let count = 1; count <= starts; count++) log.append(entryAt(count));
    return store.bytes.slice(0, SIZE);
  });
}

/** Whatever stands there: records that this unit wrote, or none. And the log can be written on. */
export function readBootLog(input: Uint8Array): string {
  const { flash } = overBytes(input);
  const { entries, starts } = new BootLog(flash, AREA, KEY);
  promise(starts <= 14 && entries.every(({ count }) => count >= 1), 'records are those that were written');
  new BootLog(flash, AREA, KEY).append(entryAt(20));
  promise(new BootLog(flash, AREA, KEY).starts === 20, 'what is written last counts');
  return `accepted ${starts} ${entries.length}`;
}

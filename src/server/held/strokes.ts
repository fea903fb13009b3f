import type { Flash } from '../../unit/index.ts';

/** A run of flash operations of one kind on neighbouring bytes. */
export interface Stroke {
  readonly kind: 'erase' | 'program';
  /** Bytes from the start of the flash. */
  readonly offset: number;
  length: number;
  /** Operations in it, and how many came before it. */
  operations: number;
  readonly before: number;
}

/** Longest stroke, in operations: what is drawn at once. */
const LONGEST = 256;

/** Stands before a flash and writes down what is done to it. Reads pass unseen. */
export function watchFlash(flash: Flash, strokes: Stroke[]): Flash {
  const { erase_page: page, write_unit: unit } = flash.geometry;
  let before = 0;
  const note = (kind: Stroke['kind'], offset: number, length: number, grain: number) => {
    const last = strokes.at(-1);
    const operations = length / grain;
    const follows = last?.kind === kind && last.offset + last.length === offset;
    if (last && follows && last.operations + operations <= LONGEST) {
      last.length += length;
      last.operations += operations;
    } else
      for (let done = 0; done < operations; done += LONGEST) {
        const count = Math.min(LONGEST, operations - done);
        strokes.push({
          kind,
          offset: offset + done * grain,
          length: count * grain,
          operations: count,
          before: before + done,
        });
      }
    before += operations;
  };
  return {
    size: flash.size,
    geometry: flash.geometry,
    read: (offset, length) => flash.read(offset, length),
    erase(offset, length) {
      note('erase', offset, length, page);
      flash.erase(offset, length);
    },
    program(offset, bytes) {
      note('program', offset, bytes.length, unit);
      flash.program(offset, bytes);
    },
  };
}

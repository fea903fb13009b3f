import type { Flash, FlashRegion } from '../../unit/index.ts';

/** A region of flash as it is drawn: a row of cells, each the share of its bytes that are programmed, 0 to 9. */
export interface DrawnRegion {
  readonly name: string;
  readonly address: number;
  /** Bytes from the start of the flash. */
  readonly offset: number;
  readonly size: number;
  readonly cells: string;
}

const CELLS = 64;

/** Draws each region of a flash. */
export function drawFlash(flash: Flash, regions: readonly FlashRegion[], erased: number): DrawnRegion[] {
  return regions.map(({ name, address, offset, size }) => {
    const bytes = flash.read(offset, size);
    const count = Math.min(CELLS, size / flash.geometry.write_unit);
    const cells = Array.from({ length: count }, (_, i) =>
      shade(bytes.subarray(Math.floor((i * size) / count), Math.floor(((i + 1) * size) / count)), erased),
    );
    return { name, address, offset, size, cells: cells.join('') };
  });
}

function shade(bytes: Uint8Array, erased: number): number {
  let programmed = 0;
  for (let i = 0; i < bytes.length; i++) if (bytes[i] !== erased) programmed++;
  return programmed === 0 ? 0 : Math.max(1, Math.round((9 * programmed) / bytes.length));
}

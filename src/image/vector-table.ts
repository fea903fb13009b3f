import type { ByteSource } from '../bytes/index.ts';
import { ImageError } from './errors.ts';
import { contains, type MemoryMap, type NamedRegion, type Region } from './memory.ts';
import { formatAddress } from './size.ts';

/** The first two words of a Cortex-M image. `resetVector` is the address with the Thumb bit taken away. */
export interface VectorTable {
  stackPointer: number;
  resetVector: number;
}

const HEAD_SIZE = 8;
const WORD = 4;

/**
 * Reads and checks the head of a Cortex-M image: the initial stack pointer (word aligned, above the first and
 * at most at the end of RAM; the stack grows downwards) and the reset vector (Thumb bit set, inside `slot`, the
 * range the image is linked for).
 * Armv7-M Architecture Reference Manual B1.5.3 and B1.5.5 (from memory). Throws `ImageError`.
 */
export function checkVectorTable(image: ByteSource, slot: NamedRegion, map: MemoryMap): VectorTable {
  if (image.size < HEAD_SIZE) {
    throw new ImageError(
      'vector-table',
      `the image has ${image.size} bytes, its vector table needs at least 8`,
    );
  }
  const head = image.read(0, HEAD_SIZE);
  const view = new DataView(head.buffer, head.byteOffset, HEAD_SIZE);
  const stackPointer = view.getUint32(0, true);
  const reset = view.getUint32(WORD, true);
  requireStackPointer(stackPointer, map.ram, slot.address);
  return { stackPointer, resetVector: requireReset(reset, slot, map) };
}

function requireStackPointer(stackPointer: number, ram: Region, address: number): void {
  const end = ram.address + ram.size;
  const found = `the initial stack pointer is ${formatAddress(stackPointer)}`;
  if (stackPointer <= ram.address || stackPointer > end) {
    const says = `${found}, outside the RAM from ${formatAddress(ram.address)} to ${formatAddress(end)}`;
    throw new ImageError('stack-pointer', says, { address });
  }
  if (stackPointer % WORD !== 0) {
    throw new ImageError('stack-pointer', `${found}, which is not word aligned`, { address });
  }
}

function requireReset(reset: number, slot: NamedRegion, map: MemoryMap): number {
  const where = { address: slot.address + WORD };
  const found = `the reset vector is ${formatAddress(reset)}`;
  const target = reset - (reset % 2);
  if (!contains(slot, target)) {
    const range = `${formatAddress(slot.address)} to ${formatAddress(slot.address + slot.size - 1)}`;
    const other = map.slots.find((each) => contains(each, target));
    const hint = other ? `: the image was linked for slot ${other.name}` : '';
    throw new ImageError('reset-vector', `${found}, outside slot ${slot.name}, ${range}${hint}`, where);
  }
  if (reset % 2 === 0)
    throw new ImageError('thumb-bit', `${found}, an even number: its Thumb bit is clear`, where);
  return target;
}

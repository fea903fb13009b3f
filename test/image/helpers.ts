import { expect } from 'vitest';
import { type ByteSource, fromUtf8, sourceOf } from '../../src/bytes/index.ts';
import {
  ImageError,
  type ImageErrorCode,
  type ImageWhere,
  type MemoryMap,
  type ReadImage,
} from '../../src/image/index.ts';

/** A text as a source. */
export function textSource(...lines: string[]): ByteSource {
  return sourceOf(fromUtf8(lines.join('\n')));
}

/** All bytes of a source. */
export function allOf(source: ByteSource): Uint8Array {
  return source.read(0, source.size);
}

/** The segments as plain addresses and bytes. */
export function segmentsOf(read: ReadImage): { address: number; bytes: Uint8Array }[] {
  return read.segments.map(({ address, length, source }) => ({ address, bytes: source.read(0, length) }));
}

/** Expects an `ImageError` with this code (and place) and returns it. */
export function refused(code: ImageErrorCode, run: () => unknown, where: ImageWhere = {}): ImageError {
  try {
    run();
  } catch (error) {
    expect(error).toBeInstanceOf(ImageError);
    expect(error).toMatchObject({ code, ...where });
    return error as ImageError;
  }
  throw new Error(`expected the refusal ${code}, but it was accepted`);
}

/** The head of a Cortex-M image: initial stack pointer, reset vector. */
export function vectors(stackPointer: number, reset: number): Uint8Array {
  const bytes = new Uint8Array(8);
  new DataView(bytes.buffer).setUint32(0, stackPointer, true);
  new DataView(bytes.buffer).setUint32(4, reset, true);
  return bytes;
}

/** A small map without a vector check: slots of 0x1000 bytes at 0x1000 and 0x2000. */
export const PLAIN_MAP: MemoryMap = {
  shape: 'linked',
  core: 'none',
  slots: [
    { name: 'A', address: 0x1000, size: 0x1000 },
    { name: 'B', address: 0x2000, size: 0x1000 },
  ],
  envelopes: { address: 0x3000, size: 0x1000 },
  state: { address: 0x4000, size: 0x800 },
  flash: { erase_page: 0x400, write_unit: 8, erased_value: 0xff, endurance: 10000 },
  ram: { address: 0, size: 0 },
  leave_out: [],
};

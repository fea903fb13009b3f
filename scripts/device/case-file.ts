/** Case files of the device kit's test runner (`device/test/runner.c`): records with their length before them, numbers big-endian. */
import { concat } from '../../src/bytes/index.ts';

const NOTHING = new Uint8Array(0);

/** One field of a record. */
export type Field = Uint8Array;

export const u8 = (value: number): Field => Uint8Array.of(value);

export function u32(value: number): Field {
  const bytes = new Uint8Array(4);
  new DataView(bytes.buffer).setInt32(0, value | 0);
  return bytes;
}

export function u64(value: bigint): Field {
  const bytes = new Uint8Array(8);
  new DataView(bytes.buffer).setBigUint64(0, value);
  return bytes;
}

/** Bytes with their length. */
export const counted = (bytes: Uint8Array = NOTHING): Field => concat(u32(bytes.length), bytes);

/** A list with how many there are. */
export const listed = (items: readonly Field[]): Field => concat(u32(items.length), ...items);

/** One record of a case file. */
export function record(kind: number, ...fields: readonly Field[]): Uint8Array {
  return counted(concat(u8(kind), ...fields));
}

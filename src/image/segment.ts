import type { ByteSource } from '../bytes/index.ts';

/** Bytes at an address: `length` bytes of `source`, from its beginning, go to `address` and up. */
export interface Segment {
  address: number;
  length: number;
  source: ByteSource;
}

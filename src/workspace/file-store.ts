import { closeSync, fstatSync, fsyncSync, ftruncateSync, openSync, readSync, writeSync } from 'node:fs';
import type { Store } from '../unit/index.ts';

/** A store that is a file, written in place: what a killed process wrote last is what the next one finds. */
export interface FileStore extends Store {
  close(): void;
}

/** Opens a file for reading and writing in place. Errors of the file system pass through. */
export function openFileStore(path: string): FileStore {
  const file = openSync(path, 'r+');
  return storeOver(file, fstatSync(file).size);
}

/** Creates a file of `size` zero bytes, sparse where the file system can. Refuses to touch one that exists. */
export function createFileStore(path: string, size: number): FileStore {
  const file = openSync(path, 'wx+', 0o600);
  ftruncateSync(file, size);
  return storeOver(file, size);
}

function storeOver(file: number, size: number): FileStore {
  return {
    size,
    read: (offset, length) => readWhole(file, offset, length),
    write: (offset, bytes) => writeWhole(file, offset, bytes),
    flush: () => fsyncSync(file),
    close: () => closeSync(file),
  };
}

function readWhole(file: number, offset: number, length: number): Uint8Array {
  const bytes = new Uint8Array(length);
  for (let done = 0; done < length; ) {
    const count = readSync(file, bytes, done, length - done, offset + done);
    if (count === 0) throw new RangeError(`the file ends before byte ${offset + length}`);
    done += count;
  }
  return bytes;
}

function writeWhole(file: number, offset: number, bytes: Uint8Array): void {
  for (let done = 0; done < bytes.length; ) {
    done += writeSync(file, bytes, done, bytes.length - done, offset + done);
  }
}

import { closeSync, fstatSync, fsyncSync, ftruncateSync, openSync, readSync, writeSync } from 'node:fs';
import type { Store } from '../unit/index.ts';
import { fromSystem } from './errors.ts';

/** A store that is a file, written in place: what a killed process wrote last is what the next one finds. */
export interface FileStore extends Store {
  close(): void;
}

/** How a store is opened: `durable` writes are on the medium when they return, in their order (O_SYNC). */
export type Access = 'read' | 'write' | 'durable';

const FLAGS: Record<Access, string> = { read: 'r', write: 'r+', durable: 'rs+' };

/**
 * Opens a file in place. `size`: bytes of it that count, where it has no size of its own, as a block device has none.
 * Throws `WorkspaceError`.
 */
export function openFileStore(path: string, access: Access = 'write', size?: number): FileStore {
  const file = attempt(path, () => openSync(path, FLAGS[access]));
  return storeOver(path, file, size ?? fstatSync(file).size);
}

/**
 * Creates a file of `size` zero bytes, sparse where the file system can. Refuses to touch one that exists. Throws
 * `WorkspaceError`.
 */
export function createFileStore(path: string, size: number): FileStore {
  const file = attempt(path, () => openSync(path, 'wx+', 0o600));
  attempt(path, () => ftruncateSync(file, size));
  return storeOver(path, file, size);
}

function storeOver(path: string, file: number, size: number): FileStore {
  return {
    size,
    read: (offset, length) => attempt(path, () => readWhole(file, offset, length)),
    write: (offset, bytes) => attempt(path, () => writeWhole(file, offset, bytes)),
    flush: () => attempt(path, () => fsyncSync(file)),
    close: () => closeSync(file),
  };
}

function attempt<T>(path: string, action: () => T): T {
  try {
    return action();
  } catch (error) {
    throw error instanceof RangeError ? error : fromSystem(error, `use ${path}`, path);
  }
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

import { closeSync, fstatSync, openSync, read, readSync } from 'node:fs';
import { promisify } from 'node:util';
import type { ByteSource } from '../bytes/index.ts';
import { sha256, sha256OfFile } from '../crypto/index.ts';
import { fromSystem, WorkspaceError } from './errors.ts';

const PIECE = 1 << 20;
const PIECE_AHEAD = 1 << 21;
/** Bytes from which on a thread is worth its start. */
const LARGE = 1 << 24;
const readLater = promisify(read);

/** A file open for reading at any place. */
export interface FileSource extends ByteSource {
  /**
   * A stretch of the file in order (default: all of it), in pieces of at most 1 MiB; the bytes of one are good until
   * the next is asked for. `RangeError` as for `read`.
   */
  pieces(offset?: number, length?: number): Generator<Uint8Array>;
  /**
   * The whole file in order, in pieces of at most 2 MiB: while one is worked on, another thread reads the next. The
   * bytes of one are good until the next is asked for.
   */
  piecesAhead(): AsyncGenerator<Uint8Array>;
  /** SHA-256 over the whole file, 32 bytes; on another thread where there is much of it. */
  sha256(): Promise<Uint8Array>;
  /** Whether size and time of the last change are still those at opening. */
  unchanged(): boolean;
  close(): void;
}

/**
 * Opens a file as a byte source; reads come straight from the disk, so memory does not grow with the file.
 * The size is the one at opening; a file that is cut while it is read gives `file-trouble`.
 */
export function fileSource(path: string): FileSource {
  const handle = attempt(path, () => openSync(path, 'r'));
  const facts = attempt(path, () => fstatSync(handle, { bigint: true }));
  if (!facts.isFile()) {
    closeSync(handle);
    throw new WorkspaceError('wrong-value', `${path} is not an ordinary file`, {
      hint: 'name a file',
      file: path,
    });
  }
  const size = Number(facts.size);
  const requireInside = (offset: number, length: number) => {
    if (offset >= 0 && length >= 0 && offset + length <= size) return;
    throw new RangeError(`bytes ${offset} to ${offset + length} are outside ${path} (${size} bytes)`);
  };
  return {
    size,
    read(offset, length) {
      requireInside(offset, length);
      const bytes = Buffer.allocUnsafeSlow(length);
      attempt(path, () => readFully(handle, bytes, offset, path));
      return new Uint8Array(bytes.buffer, bytes.byteOffset, length);
    },
    *pieces(offset = 0, length = size - offset) {
      requireInside(offset, length);
      const buffer = Buffer.allocUnsafeSlow(Math.min(PIECE, length));
      for (let done = 0; done < length; done += PIECE) {
        const piece = buffer.subarray(0, Math.min(PIECE, length - done));
        attempt(path, () => readFully(handle, piece, offset + done, path));
        yield piece;
      }
    },
    piecesAhead: () => readAhead(handle, size, path),
    sha256: () => hashWhole(handle, size, path),
    unchanged: () => {
      const now = attempt(path, () => fstatSync(handle, { bigint: true }));
      return now.size === facts.size && now.mtimeNs === facts.mtimeNs;
    },
    close: () => closeSync(handle),
  };
}

/**
 * A small file whole, or what a pipe gives: `fileSource` asks for a file that can be read at any place, and a key may
 * well come from another command. Undefined where there is more than `most` bytes. Errors as of `fileSource`.
 */
export function readSmall(path: string, most: number): Uint8Array | undefined {
  return attempt(path, () => {
    const handle = openSync(path, 'r');
    try {
      const bytes = Buffer.alloc(most + 1);
      let length = 0;
      for (let count = 1; count > 0 && length < bytes.length; length += count) {
        count = readSync(handle, bytes, length, bytes.length - length, null);
      }
      return length > most ? undefined : new Uint8Array(bytes.subarray(0, length));
    } finally {
      closeSync(handle);
    }
  });
}

async function hashWhole(handle: number, size: number, path: string): Promise<Uint8Array> {
  try {
    if (size >= LARGE) return await sha256OfFile({ handle, offset: 0, length: size });
    const bytes = Buffer.allocUnsafeSlow(size);
    readFully(handle, bytes, 0, path);
    return sha256(bytes);
  } catch (error) {
    throw error instanceof RangeError ? becameShorter(path) : fromSystem(error, `read ${path}`, path);
  }
}

async function* readAhead(handle: number, size: number, path: string): AsyncGenerator<Uint8Array> {
  const length = Math.min(PIECE_AHEAD, size);
  let [filling, free] = [Buffer.allocUnsafeSlow(length), Buffer.allocUnsafeSlow(length)];
  const begin = (offset: number, buffer: Buffer) => {
    const reading = fillFrom(handle, buffer.subarray(0, Math.min(length, size - offset)), offset, path);
    reading.catch(() => {}); // Whoever asks for the piece learns of it.
    return reading;
  };
  let next = begin(0, filling);
  try {
    for (let offset = 0; offset < size; offset += length) {
      const piece = await next;
      [filling, free] = [free, filling];
      next = begin(Math.min(offset + length, size), filling);
      yield piece;
    }
  } finally {
    await next.catch(() => {}); // The file must not be closed under a read.
  }
}

/** As `readFully`, on another thread; gives the filled buffer. */
async function fillFrom(handle: number, bytes: Buffer, offset: number, path: string): Promise<Uint8Array> {
  for (let done = 0; done < bytes.length; ) {
    const { bytesRead } = await readLater(handle, bytes, done, bytes.length - done, offset + done).catch(
      (error: unknown) => {
        throw fromSystem(error, `read ${path}`, path);
      },
    );
    if (bytesRead === 0) throw becameShorter(path);
    done += bytesRead;
  }
  return bytes;
}

function readFully(handle: number, bytes: Uint8Array, offset: number, path: string): void {
  for (let done = 0; done < bytes.length; ) {
    const count = readSync(handle, bytes, done, bytes.length - done, offset + done);
    if (count === 0) throw becameShorter(path);
    done += count;
  }
}

function becameShorter(path: string): WorkspaceError {
  return new WorkspaceError('file-trouble', `${path} became shorter while it was read`, {
    hint: 'let the build finish, then run the command again',
    file: path,
  });
}

function attempt<T>(path: string, action: () => T): T {
  try {
    return action();
  } catch (error) {
    throw fromSystem(error, `read ${path}`, path);
  }
}

/** Key files on disk: made once, owner-only, whole or not at all. */
import { randomBytes } from 'node:crypto';
import {
  closeSync,
  fsyncSync,
  linkSync,
  openSync,
  readFileSync,
  renameSync,
  statSync,
  unlinkSync,
  writeSync,
} from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { KeyError } from './error.ts';

/** Largest key, request or certificate file read, in bytes. */
const LARGEST_FILE = 1 << 20;
const NO_HARD_LINKS = new Set(['EPERM', 'ENOTSUP', 'EOPNOTSUPP', 'ENOSYS', 'EMLINK']);
const NO_FOLDER_SYNC = new Set(['EINVAL', 'EPERM', 'EISDIR', 'EACCES', 'ENOTSUP']);

/**
 * Writes a file that must not exist yet. It is written beside its place, made durable, and appears under its
 * name only when whole. `mode`: 0600 for keys. Throws `KeyError` key-file-exists or key-file-unwritable.
 */
export function writeNewFile(path: string, text: string, mode: 0o600 | 0o644 = 0o600): void {
  const beside = besidePath(path);
  try {
    writeDurably(beside, Buffer.from(text, 'utf8'), mode);
    try {
      publish(beside, path);
    } finally {
      removeIfThere(beside);
    }
    syncFolder(dirname(path));
  } catch (error) {
    throw asWriteError(error, path);
  }
}

/** Puts bytes in place of whatever is at the path, at once. Throws `KeyError` key-file-unwritable. */
export function replaceFile(path: string, bytes: Uint8Array): void {
  const beside = besidePath(path);
  try {
    writeDurably(beside, bytes, 0o600);
    renameSync(beside, path);
    syncFolder(dirname(path));
  } catch (error) {
    removeIfThere(beside);
    throw asWriteError(error, path);
  }
}

/** Text of a file of at most `largest` bytes. Throws `KeyError` key-file-missing or key-file-unreadable. */
export function readTextFile(path: string, largest = LARGEST_FILE): string {
  try {
    const found = statSync(path);
    if (!found.isFile()) throw failure('not a file');
    if (found.size > largest) throw failure(`${found.size} bytes; at most ${largest} are read`);
    return readFileSync(path, 'utf8');
  } catch (error) {
    const code = errno(error);
    if (code === 'ENOENT') {
      throw new KeyError(
        'key-file-missing',
        `There is no file ${path}.`,
        'Key files are not kept in git: fetch it from its backup, or from the machine where the key was made.',
      );
    }
    throw new KeyError(
      'key-file-unreadable',
      `The file ${path} could not be read (${code}).`,
      'Check that it is a file, that you own it, and that its storage works.',
    );
  }
}

function besidePath(path: string): string {
  return join(dirname(path), `.${basename(path)}.${randomBytes(6).toString('hex')}.part`);
}

function writeDurably(path: string, bytes: Uint8Array, mode: number): void {
  const file = openSync(path, 'wx', mode);
  try {
    for (let done = 0; done < bytes.length; ) done += writeSync(file, bytes, done);
    fsyncSync(file);
  } catch (error) {
    removeIfThere(path);
    throw error;
  } finally {
    closeSync(file);
  }
}

// A hard link fails where the name is taken. File systems without links (sticks that carry an exchange) get
// the
// name reserved by exclusive creation, then replaced.
function publish(beside: string, path: string): void {
  try {
    linkSync(beside, path);
  } catch (error) {
    if (!NO_HARD_LINKS.has(errno(error))) throw error;
    closeSync(openSync(path, 'wx'));
    renameSync(beside, path);
  }
}

// Some file systems cannot sync a folder; there the name becomes durable when the system writes it out.
function syncFolder(folder: string): void {
  try {
    const handle = openSync(folder, 'r');
    try {
      fsyncSync(handle);
    } finally {
      closeSync(handle);
    }
  } catch (error) {
    if (!NO_FOLDER_SYNC.has(errno(error))) throw error;
  }
}

function removeIfThere(path: string): void {
  try {
    unlinkSync(path);
  } catch (error) {
    if (errno(error) !== 'ENOENT') throw error;
  }
}

const WRITE_TROUBLE: Readonly<Record<string, string>> = {
  EROFS: 'the file system is mounted read-only',
  ENOSPC: 'the disk is full',
  EDQUOT: 'the quota is used up',
  EACCES: 'permission denied',
  ENOENT: 'there is no such folder',
};

function asWriteError(error: unknown, path: string): KeyError {
  const code = errno(error);
  if (code === 'EEXIST') {
    return new KeyError(
      'key-file-exists',
      `The file ${path} is there already; it was left as it is.`,
      'Choose another name. A key that is still needed must not be overwritten.',
    );
  }
  return new KeyError(
    'key-file-unwritable',
    `The file ${path} could not be written (${WRITE_TROUBLE[code] ?? code}); nothing was left behind.`,
    'Check that its folder exists, is writable and has room.',
  );
}

function failure(code: string): Error {
  return Object.assign(new Error(code), { code });
}

function errno(error: unknown): string {
  return (error as NodeJS.ErrnoException).code ?? 'unknown error';
}

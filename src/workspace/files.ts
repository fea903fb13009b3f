import { randomBytes } from 'node:crypto';
import * as nodeFs from 'node:fs';
import { hostname } from 'node:os';
import { basename, dirname, join } from 'node:path';
import { promisify } from 'node:util';
import { fromUtf8 } from '../bytes/index.ts';
import { fromSystem, systemCode, WorkspaceError } from './errors.ts';

/** The calls to the file system that the workspace makes: a port, so that tests can fail any of them. */
export type Disk = Pick<
  typeof nodeFs,
  | 'openSync'
  | 'write'
  | 'writeSync'
  | 'fsync'
  | 'fsyncSync'
  | 'closeSync'
  | 'linkSync'
  | 'renameSync'
  | 'unlinkSync'
  | 'mkdirSync'
  | 'readFileSync'
  | 'readdirSync'
  | 'existsSync'
  | 'statSync'
>;

const OWNER_ONLY = 0o600;
const ORDINARY = 0o666;
const NO_HARD_LINKS = new Set(['EPERM', 'ENOTSUP', 'EOPNOTSUPP', 'ENOSYS', 'EMLINK']);
const OWNER_FOLDER = 0o700;
const ORDINARY_FOLDER = 0o777;

/** How a file is made: secrets are for their owner only. */
export interface FileOptions {
  secret?: boolean;
}

/** A file being written beside its place; it appears there whole, or not at all. */
export interface Output {
  /** Where the bytes are until they get their name. */
  readonly partPath: string;
  write(bytes: Uint8Array): void;
  /** As `write`, on another thread. Until it is done the bytes must stay as they are, and nothing else may be called. */
  writeMeanwhile(bytes: Uint8Array): Promise<void>;
  /** Makes the bytes durable under the temporary name; `commit` then only names them. */
  settle(): void;
  /** As `settle`, on another thread; meanwhile the bytes may be read. */
  settleMeanwhile(): Promise<void>;
  /** Makes the bytes durable and gives them their name. */
  commit(): void;
  /** Takes the unfinished file away. Does nothing after `commit`. */
  abandon(): void;
}

/** Durable file operations over a disk. Each leaves a whole file or none, also when killed half-way. */
export interface Files {
  /** Text of a file. */
  readText(path: string): string;
  /** Names in a folder, sorted; empty where there is no folder. */
  list(folder: string): string[];
  exists(path: string): boolean;
  /** What tells a file from a copy of it: its inode, and when it was born in nanoseconds, '0' where that is not kept. */
  identity(path: string): { readonly inode: string; readonly born_ns: string };
  makeFolder(path: string, options?: FileOptions): void;
  /** Creates the file whole; false where one of that name is there already (nothing is changed then). */
  createNew(path: string, content: Uint8Array | string, options?: FileOptions): boolean;
  /** Creates an empty file; false where one of that name is there already. */
  createMark(path: string): boolean;
  /** Puts the content in place of what is there, at once. */
  replace(path: string, content: Uint8Array | string, options?: FileOptions): void;
  /** Takes a file away; does nothing where there is none. */
  remove(path: string): void;
  /** Starts an output that appears at `path` on commit; without `force` it never takes the place of a file. */
  beginOutput(path: string, options?: FileOptions & { force?: boolean }): Output;
}

/** Files over the real disk, or over a given one. */
export function filesOn(disk: Disk = nodeFs): Files {
  const attempt = <T>(doing: string, path: string, action: () => T): T => {
    try {
      return action();
    } catch (error) {
      throw fromSystem(error, `${doing} ${path}`, path);
    }
  };
  const beginOutput: Files['beginOutput'] = (path, options = {}) =>
    attempt('write', path, () => {
      removeStaleParts(disk, path);
      return openOutput(disk, path, options);
    });
  return {
    readText: (path) => attempt('read', path, () => disk.readFileSync(path, 'utf8')),
    list: (folder) => attempt('read', folder, () => listNames(disk, folder)),
    exists: (path) => disk.existsSync(path),
    identity: (path) =>
      attempt('look at', path, () => {
        const { ino, birthtimeNs } = disk.statSync(path, { bigint: true });
        return { inode: String(ino), born_ns: String(birthtimeNs) };
      }),
    makeFolder: (path, options = {}) =>
      attempt('make the folder', path, () => {
        disk.mkdirSync(path, { recursive: true, mode: options.secret ? OWNER_FOLDER : ORDINARY_FOLDER });
      }),
    createMark: (path) => attempt('write', path, () => createMark(disk, path)),
    createNew: (path, content, options) =>
      attempt('write', path, () => writeBeside(disk, path, content, { ...options, force: false })),
    replace: (path, content, options) =>
      attempt('write', path, () => void writeBeside(disk, path, content, { ...options, force: true })),
    remove: (path) => attempt('remove', path, () => removeFile(disk, path)),
    beginOutput,
  };
}

function removeFile(disk: Disk, path: string): void {
  try {
    disk.unlinkSync(path);
  } catch (error) {
    if (systemCode(error) !== 'ENOENT') throw error;
  }
}

function listNames(disk: Disk, folder: string): string[] {
  try {
    return disk
      .readdirSync(folder)
      .filter((name) => !name.startsWith('.'))
      .sort();
  } catch (error) {
    if (systemCode(error) === 'ENOENT') return [];
    throw error;
  }
}

function createMark(disk: Disk, path: string): boolean {
  try {
    const handle = disk.openSync(path, 'wx', ORDINARY);
    try {
      disk.fsyncSync(handle);
    } finally {
      disk.closeSync(handle);
    }
  } catch (error) {
    if (systemCode(error) === 'EEXIST') return false;
    throw error;
  }
  syncFolder(disk, dirname(path));
  return true;
}

function writeBeside(
  disk: Disk,
  path: string,
  content: Uint8Array | string,
  options: FileOptions & { force: boolean },
): boolean {
  const output = openOutput(disk, path, options);
  try {
    output.write(typeof content === 'string' ? fromUtf8(content) : content);
    output.commit();
    return true;
  } catch (error) {
    output.abandon();
    if (error instanceof WorkspaceError && error.code === 'output-exists') return false;
    throw error;
  }
}

const partStart = (path: string) => `.${basename(path).slice(0, 60)}.${hostname()}.`;

function partName(path: string): string {
  return `${partStart(path)}${process.pid}.${randomBytes(6).toString('hex')}.part`;
}

// What a killed process left of the same output on this machine.
function removeStaleParts(disk: Disk, path: string): void {
  const start = partStart(path);
  for (const name of disk.readdirSync(dirname(path))) {
    const pid = name.startsWith(start) && /^(\d+)\.[0-9a-f]{12}\.part$/.exec(name.slice(start.length))?.[1];
    if (pid && !isRunning(Number(pid))) removeFile(disk, join(dirname(path), name));
  }
}

/** Whether a process of this number runs on this machine. */
export function isRunning(pid: number): boolean {
  try {
    return process.kill(pid, 0);
  } catch (error) {
    return systemCode(error) !== 'ESRCH';
  }
}

function openOutput(disk: Disk, path: string, options: FileOptions & { force?: boolean }): Output {
  const partPath = join(dirname(path), partName(path));
  const handle = disk.openSync(partPath, 'wx', options.secret ? OWNER_ONLY : ORDINARY);
  let open = true;
  let present = true;
  const close = () => {
    if (open) disk.closeSync(handle);
    open = false;
  };
  const settle = () => {
    if (!open) return;
    disk.fsyncSync(handle);
    close();
  };
  const writeFailed = (error: unknown) => fromSystem(error, `write ${path}`, path);
  const settleMeanwhile = async () => {
    if (!open) return;
    await promisify(disk.fsync)(handle);
    close();
  };
  const guarded = (action: () => void) => {
    try {
      action();
    } catch (error) {
      throw writeFailed(error);
    }
  };
  const guardedLater = (action: () => Promise<void>) =>
    action().catch((error: unknown) => {
      throw writeFailed(error);
    });
  return {
    partPath,
    write: (bytes) => guarded(() => writeAll(disk, handle, bytes)),
    writeMeanwhile: (bytes) => guardedLater(() => writeAllMeanwhile(disk, handle, bytes)),
    settle: () => guarded(settle),
    settleMeanwhile: () => guardedLater(settleMeanwhile),
    commit: () =>
      guarded(() => {
        settle();
        if (options.force) disk.renameSync(partPath, path);
        else linkNew(disk, partPath, path);
        present = false;
        syncFolder(disk, dirname(path));
      }),
    abandon: () => {
      if (!present) return;
      present = false;
      close();
      try {
        disk.unlinkSync(partPath);
      } catch {
        // The disk is in trouble already; the first error is the one to report.
      }
    },
  };
}

function writeAll(disk: Disk, handle: number, bytes: Uint8Array): void {
  for (let done = 0; done < bytes.length; ) done += disk.writeSync(handle, bytes, done, bytes.length - done);
}

async function writeAllMeanwhile(disk: Disk, handle: number, bytes: Uint8Array): Promise<void> {
  for (let done = 0; done < bytes.length; ) {
    done += await new Promise<number>((resolve, reject) => {
      disk.write(handle, bytes, done, bytes.length - done, null, (error, count) =>
        error ? reject(error) : resolve(count),
      );
    });
  }
}

// link() fails where the name exists, rename() would replace: only link makes creation exclusive and whole at once.
// A file system without hard links gets the name reserved by exclusive creation, then replaced.
function linkNew(disk: Disk, partPath: string, path: string): void {
  try {
    try {
      disk.linkSync(partPath, path);
    } catch (error) {
      if (!NO_HARD_LINKS.has(systemCode(error) ?? '')) throw error;
      disk.closeSync(disk.openSync(path, 'wx', ORDINARY));
      disk.renameSync(partPath, path);
      return;
    }
  } catch (error) {
    if (systemCode(error) !== 'EEXIST') throw error;
    throw new WorkspaceError('output-exists', `${path} is there already and was left as it is`, {
      hint: 'choose another name, or take the old file away first',
      file: path,
    });
  }
  disk.unlinkSync(partPath);
}

function syncFolder(disk: Disk, folder: string): void {
  const handle = disk.openSync(folder, 'r');
  try {
    disk.fsyncSync(handle);
  } finally {
    disk.closeSync(handle);
  }
}

import { lstatSync, readlinkSync, realpathSync, symlinkSync, unlinkSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { fromSystem, systemCode, WorkspaceError } from './errors.ts';
import { type Holder, holderText, isGone, readHolder, thisProcess } from './holder.ts';

const PATIENCE_MS = 5000;
/** At most, by chance, so that several do not try in step. */
const PAUSE_MS = 40;
const NO_SYMBOLIC_LINKS = new Set(['EPERM', 'ENOTSUP', 'EOPNOTSUPP', 'ENOSYS']);

/** How a file is held. */
export interface HoldOptions {
  /** Milliseconds to wait for another. */
  readonly patience?: number | undefined;
  /** Nobody holds it for longer than an instant: one on another machine that did not move in that time is taken for gone. */
  readonly briefly?: boolean;
}

/**
 * Holds a file for one writer alone, until the function that comes back is called; waits where another holds it. A symbolic link
 * beside the file, made exclusively, names the holder, and takes no room on a full disk. One whose process is gone counts for
 * nothing, also after `kill -9` or a power cut. A file system that knows no such links (FAT) excludes nobody. Throws `WorkspaceError`
 * in-use after `patience` milliseconds.
 */
export async function holdAlone(
  path: string,
  { patience = PATIENCE_MS, briefly = false }: HoldOptions = {},
): Promise<() => void> {
  const link = linkOf(path);
  const until = performance.now() + patience;
  const first = briefly ? makingOf(link) : undefined;
  while (!make(link)) {
    const found = targetOf(link);
    if (found === undefined || (isLeft(found) && clear(link, isLeft))) continue;
    if (performance.now() >= until) {
      if (first === undefined || !clear(link, (target) => isElsewhere(target) && makingOf(link) === first))
        throw inUse(path, link, readHolder(found));
    } else await pause(PAUSE_MS * Math.random());
  }
  return () => {
    if (targetOf(link) === holderText(thisProcess())) remove(link);
  };
}

/** Beside the file itself, by whatever name it is reached; it need not be there yet. */
function linkOf(path: string): string {
  return attempt(path, () => {
    if (lstatSync(path, { throwIfNoEntry: false })) return `${realpathSync(path)}.held`;
    return `${join(realpathSync(dirname(path)), basename(path))}.held`;
  });
}

function make(link: string): boolean {
  return attempt(link, () => {
    try {
      symlinkSync(holderText(thisProcess()), link);
      return true;
    } catch (error) {
      if (systemCode(error) === 'EEXIST') return false;
      if (NO_SYMBOLIC_LINKS.has(systemCode(error) ?? '')) return true;
      throw error;
    }
  });
}

/** What a link says; empty where something else is there, undefined where nothing is. */
function targetOf(link: string): string | undefined {
  return attempt(link, () => {
    try {
      return readlinkSync(link);
    } catch (error) {
      if (systemCode(error) === 'ENOENT') return undefined;
      if (systemCode(error) === 'EINVAL') return '';
      throw error;
    }
  });
}

/** Which making of a link is there: another one has another time, or another inode. */
function makingOf(link: string): string | undefined {
  const found = attempt(link, () => lstatSync(link, { bigint: true, throwIfNoEntry: false }));
  return found && `${found.ino} ${found.ctimeNs}`;
}

/** Whether a process that is gone left it. */
function isLeft(target: string): boolean {
  const holder = readHolder(target);
  return holder !== undefined && isGone(holder);
}

function isElsewhere(target: string): boolean {
  const holder = readHolder(target);
  return holder !== undefined && holder.host !== thisProcess().host;
}

/**
 * Takes away a link that was left, as `wasLeft` says. Only who holds the link of that link may: of two at once, the slower would
 * take away what a third made in between. False where it is another's turn, or where it was not left.
 */
function clear(link: string, wasLeft: (target: string) => boolean): boolean {
  const turn = `${link}.held`;
  if (!make(turn)) {
    if (isLeft(targetOf(turn) ?? '')) clear(turn, isLeft);
    return false;
  }
  try {
    const isClear = wasLeft(targetOf(link) ?? '');
    if (isClear) remove(link);
    return isClear;
  } finally {
    remove(turn);
  }
}

function remove(link: string): void {
  attempt(link, () => {
    try {
      unlinkSync(link);
    } catch (error) {
      if (systemCode(error) !== 'ENOENT') throw error;
    }
  });
}

function inUse(path: string, link: string, holder: Holder | undefined): WorkspaceError {
  const who = holder ? `process ${holder.pid} on ${holder.host}` : `whoever made ${link}`;
  const isHere = holder?.host === thisProcess().host;
  return new WorkspaceError('in-use', `${path} is in use by ${who}; nothing was changed`, {
    hint: isHere
      ? `wait until that process has ended, and run the command again ("ps -p ${holder?.pid}" says what it is)`
      : `run the command again when that has ended; if nobody is at work on it any more, take ${link} away`,
    file: path,
  });
}

function attempt<T>(path: string, action: () => T): T {
  try {
    return action();
  } catch (error) {
    throw fromSystem(error, `use ${path}`, path);
  }
}

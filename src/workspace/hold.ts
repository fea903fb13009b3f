import { lstatSync, readlinkSync, realpathSync, symlinkSync, unlinkSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import { setTimeout as pause } from 'node:timers/promises';
import { fromSystem, systemCode, WorkspaceError } from './errors.ts';
import { type Holder, holderText, isGone, readHolder, thisProcess } from './holder.ts';

const PATIENCE_MS = 5000;
const PAUSE_MS = 20;

/**
 * Holds a file for one writer alone, until the function that comes back is called; waits where another holds it. A symbolic link
 * beside the file, made exclusively, names the holder, and takes no room on a full disk. One whose process is gone counts for
 * nothing, also after `kill -9` or a power cut. Throws `WorkspaceError` in-use after `patience` milliseconds.
 */
export async function holdAlone(path: string, patience = PATIENCE_MS): Promise<() => void> {
  const link = linkOf(path);
  const until = performance.now() + patience;
  while (!make(link)) {
    const found = targetOf(link);
    if (found === undefined || (isLeft(found) && clear(link))) continue;
    if (performance.now() >= until) throw inUse(path, link, readHolder(found));
    await pause(PAUSE_MS);
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

/** Whether a process that is gone left it. */
function isLeft(target: string): boolean {
  const holder = readHolder(target);
  return holder !== undefined && isGone(holder);
}

/**
 * Takes away a link that was left. Only who holds the link of that link may: of two at once, the slower would take away what a
 * third made in between. False where it is another's turn.
 */
function clear(link: string): boolean {
  const turn = `${link}.held`;
  if (!make(turn)) {
    if (isLeft(targetOf(turn) ?? '')) clear(turn);
    return false;
  }
  try {
    if (isLeft(targetOf(link) ?? '')) remove(link);
    return true;
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

import { createHash, timingSafeEqual } from 'node:crypto';
import {
  closeSync,
  existsSync,
  fsyncSync,
  mkdirSync,
  openSync,
  readFileSync,
  readSync,
  renameSync,
  rmSync,
  statSync,
  writeSync,
} from 'node:fs';
import { dirname } from 'node:path';
import { toHex } from '../../bytes/index.ts';
import type { OfferedFile } from '../announcement/offered.ts';

/** Why a file was not brought home. `again`: trying later may help. */
export class FetchFault extends Error {
  override readonly name = 'FetchFault';
  readonly code: 'unreachable' | 'not-there' | 'other-bytes' | 'too-long' | 'no-room';
  readonly again: boolean;

  constructor(code: FetchFault['code'], says: string, again: boolean) {
    super(says);
    this.code = code;
    this.again = again;
  }
}

const PIECE = 1 << 20;
const PATIENCE_MS = 60_000;
const OUT_OF_ROOM = new Set(['ENOSPC', 'EDQUOT']);

/**
 * Brings a file home, going on where an earlier try stopped: the part lies beside the place, with the validator it was begun
 * under. Never more bytes than were announced; at the end the digest decides. Gives false where it was there already. Throws
 * `FetchFault`.
 */
export async function bring(
  url: URL,
  file: OfferedFile,
  place: string,
  signal?: AbortSignal,
): Promise<boolean> {
  if (existsSync(place) && isWhole(place, file)) return false;
  mkdirSync(dirname(place), { recursive: true });
  const part = `${place}.part`;
  let have = sizeOf(part);
  if (have > file.size) have = discard(part);
  if (have < file.size || file.size === 0) await fill(url, file, part, have, signal);
  if (!isWhole(part, file)) {
    discard(part);
    throw new FetchFault('other-bytes', `${url.href} gave other bytes than were announced`, true);
  }
  renameSync(part, place);
  return true;
}

async function fill(
  url: URL,
  file: OfferedFile,
  part: string,
  have: number,
  signal?: AbortSignal,
): Promise<void> {
  const tag = `${part}.tag`;
  const validator = have > 0 && existsSync(tag) ? readFileSync(tag, 'utf8') : undefined;
  const headers: Record<string, string> =
    validator === undefined ? {} : { range: `bytes=${have}-`, 'if-range': validator };
  const answer = await ask(url, headers, signal);
  const goesOn = answer.status === 206 && contentStart(answer) === have && validator !== undefined;
  if (answer.status !== 200 && !goesOn) {
    await answer.body?.cancel();
    discard(part);
    throw new FetchFault(
      answer.status === 404 ? 'not-there' : 'unreachable',
      `${url.href} answered ${answer.status}`,
      true,
    );
  }
  const from = goesOn ? have : discard(part);
  const etag = answer.headers.get('etag');
  write(tag, () =>
    etag?.startsWith('"') ? writeWhole(tag, 'w', Buffer.from(etag)) : rmSync(tag, { force: true }),
  );
  await append(answer, part, from, file.size, url);
}

async function ask(url: URL, headers: Record<string, string>, signal?: AbortSignal): Promise<Response> {
  const patience = AbortSignal.timeout(PATIENCE_MS);
  try {
    return await fetch(url, {
      headers,
      redirect: 'error',
      signal: signal ? AbortSignal.any([signal, patience]) : patience,
    });
  } catch (error) {
    throw unreachable(url, error);
  }
}

async function append(answer: Response, part: string, from: number, size: number, url: URL): Promise<void> {
  const file = write(part, () => openSync(part, from === 0 ? 'w' : 'a', 0o600));
  let at = from;
  try {
    for await (const piece of answer.body ?? []) {
      at += piece.length;
      if (at > size) throw new FetchFault('too-long', `${url.href} sends more than was announced`, true);
      write(part, () => writeAll(file, piece));
    }
    write(part, () => fsyncSync(file));
  } catch (error) {
    if (error instanceof FetchFault) {
      if (error.code === 'too-long') discard(part);
      throw error;
    }
    throw unreachable(url, error);
  } finally {
    closeSync(file);
  }
  if (at < size) throw new FetchFault('unreachable', `${url.href} stopped at byte ${at} of ${size}`, true);
}

function contentStart(answer: Response): number | undefined {
  const match = /^bytes (\d+)-/.exec(answer.headers.get('content-range') ?? '');
  return match ? Number(match[1]) : undefined;
}

function unreachable(url: URL, error: unknown): FetchFault {
  return new FetchFault('unreachable', `${url.origin} cannot be reached: ${reasonOf(error)}`, true);
}

/** Why a request failed: fetch itself only says that it did, and keeps the reason inside. */
export function reasonOf(error: unknown): string {
  if (!(error instanceof Error)) return String(error);
  return error.cause instanceof Error ? error.cause.message : error.message;
}

/** A full disk is told as such: trying again later helps once there is room. */
function write<T>(path: string, action: () => T): T {
  try {
    return action();
  } catch (error) {
    if (OUT_OF_ROOM.has((error as NodeJS.ErrnoException).code ?? ''))
      throw new FetchFault('no-room', `there is no room for ${path}`, true);
    throw error;
  }
}

function writeWhole(path: string, flags: string, bytes: Uint8Array): void {
  const file = openSync(path, flags, 0o600);
  try {
    writeAll(file, bytes);
  } finally {
    closeSync(file);
  }
}

function writeAll(file: number, bytes: Uint8Array): void {
  for (let done = 0; done < bytes.length; ) done += writeSync(file, bytes, done, bytes.length - done);
}

function isWhole(path: string, { digest, size }: OfferedFile): boolean {
  if (sizeOf(path) !== size) return false;
  const hash = createHash('sha256');
  const file = openSync(path, 'r');
  try {
    const buffer = Buffer.alloc(Math.min(PIECE, Math.max(1, size)));
    for (let at = 0; at < size; ) {
      const count = readSync(file, buffer, 0, buffer.length, at);
      if (count === 0) return false;
      hash.update(buffer.subarray(0, count));
      at += count;
    }
  } finally {
    closeSync(file);
  }
  return timingSafeEqual(hash.digest(), digest);
}

function sizeOf(path: string): number {
  return statSync(path, { throwIfNoEntry: false })?.size ?? 0;
}

function discard(part: string): 0 {
  rmSync(part, { force: true });
  rmSync(`${part}.tag`, { force: true });
  return 0;
}

/** Name under which a file is kept at home. */
export function homeName({ digest }: OfferedFile): string {
  return toHex(digest);
}

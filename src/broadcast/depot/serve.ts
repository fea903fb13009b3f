import { createHash } from 'node:crypto';
import { createReadStream, readFileSync, statSync } from 'node:fs';
import {
  createServer,
  type IncomingMessage,
  type RequestListener,
  type Server,
  type ServerResponse,
} from 'node:http';
import { createServer as createTlsServer } from 'node:https';
import { join } from 'node:path';
import { namesTag, type Wanted, wantedRange } from './range.ts';

/** How a depot is served. */
export interface ServeOptions {
  readonly folder: string;
  /** Certificate chain and private key, PEM. */
  readonly tls?: { readonly cert: Buffer; readonly key: Buffer } | undefined;
  /** Answers what is posted to /reports; undefined: nothing is taken. */
  readonly reports?: RequestListener | undefined;
}

/** An announcement, and the headers that it is sent with: made once, sent to many. */
interface Held {
  readonly bytes: Buffer;
  readonly headers: Readonly<Record<string, string | number>> & { readonly etag: string };
}

const FILE = /^\/p\/([0-9a-f]{64})$/;
const REPORTS = '/reports';
const ANNOUNCEMENTS = '/a/';
const ANNOUNCEMENT = /^\/a\/([0-9a-f-]{36}(?:\.[0-9a-f]{2,128})?)$/;
const NOSNIFF = { 'x-content-type-options': 'nosniff' } as const;
const FOR_EVER = 'public, max-age=31536000, immutable';
/** An announcement may be kept, but not used without asking whether it still stands. */
const ASK_AGAIN = 'public, no-cache';
/** Bytes of files that are kept in memory, and of one such file. */
const CACHE_SIZE = 64 * 2 ** 20;
const LARGEST_CACHED = 8 * 2 ** 20;
/** Milliseconds for which an announcement is served without looking at its file again. */
const FRESH_FOR = 250;
const REQUEST_TIMEOUT = 30_000;

/** A server over a depot's folder: immutable files with strong validators and ranges, announcements by condition. */
export function serveDepot({ folder, tls, reports }: ServeOptions): Server {
  const files = new FileCache(join(folder, 'p'));
  const announcements = new AnnouncementCache(join(folder, 'a'));
  const answer = (request: IncomingMessage, response: ServerResponse) => {
    const url = request.url!;
    const query = url.indexOf('?');
    const path = query < 0 ? url : url.slice(0, query);
    if (reports && path === REPORTS) {
      if (request.method === 'POST') reports(request, response);
      else end(response, 405, { allow: 'POST' });
    } else if (request.method !== 'GET' && request.method !== 'HEAD')
      end(response, 405, { allow: 'GET, HEAD' });
    else if (path.startsWith(ANNOUNCEMENTS)) sendAnnouncement(request, response, announcements.get(path));
    else sendFile(request, response, files, FILE.exec(path)?.[1]);
  };
  const server = tls ? createTlsServer({ ...tls, minVersion: 'TLSv1.2' }, answer) : createServer(answer);
  server.requestTimeout = REQUEST_TIMEOUT;
  return server;
}

function sendAnnouncement(request: IncomingMessage, response: ServerResponse, held: Held | undefined): void {
  if (!held) end(response, 404);
  else if (namesTag(request.headers['if-none-match'], held.headers.etag, true))
    end(response, 304, { etag: held.headers.etag, 'cache-control': ASK_AGAIN });
  else {
    response.writeHead(200, held.headers);
    response.end(request.method === 'HEAD' ? undefined : held.bytes);
  }
}

function sendFile(
  request: IncomingMessage,
  response: ServerResponse,
  files: FileCache,
  name: string | undefined,
): void {
  const size = name === undefined ? undefined : files.size(name);
  if (name === undefined || size === undefined) {
    end(response, 404);
    return;
  }
  const etag = `"${name}"`;
  const standing = { etag, 'cache-control': FOR_EVER, 'accept-ranges': 'bytes' };
  const wanted = wantedOf(request, etag, size);
  if (namesTag(request.headers['if-none-match'], etag, true)) end(response, 304, standing);
  else if (wanted.kind === 'none') end(response, 416, { ...standing, 'content-range': `bytes */${size}` });
  else {
    const [first, last] = wanted.kind === 'part' ? [wanted.first, wanted.last] : [0, size - 1];
    response.writeHead(wanted.kind === 'part' ? 206 : 200, {
      ...NOSNIFF,
      ...standing,
      'content-type': 'application/octet-stream',
      'content-length': last - first + 1,
      ...(wanted.kind === 'part' && { 'content-range': `bytes ${first}-${last}/${size}` }),
    });
    if (request.method === 'HEAD' || size === 0) response.end();
    else files.send(name, first, last, response);
  }
}

/** A range counts only under the validator that its asker began with (RFC 9110 section 13.1.5). */
function wantedOf({ headers }: IncomingMessage, tag: string, size: number): Wanted {
  const condition = headers['if-range'];
  const stands = condition === undefined || namesTag(String(condition), tag, false);
  return stands ? wantedRange(headers.range, size) : { kind: 'whole' };
}

function end(response: ServerResponse, status: number, headers: Record<string, string> = {}): void {
  response.writeHead(status, { ...NOSNIFF, ...headers, ...(status !== 304 && { 'content-length': 0 }) });
  response.end();
}

/** Files by name; the small ones that were asked for last are kept, for they never change. */
class FileCache {
  readonly #folder: string;
  readonly #held = new Map<string, Buffer>();
  #bytes = 0;

  constructor(folder: string) {
    this.#folder = folder;
  }

  size(name: string): number | undefined {
    const held = this.#held.get(name);
    if (held) return held.length;
    const stat = statSync(join(this.#folder, name), { throwIfNoEntry: false });
    return stat?.isFile() ? stat.size : undefined;
  }

  send(name: string, first: number, last: number, response: ServerResponse): void {
    const held = this.#held.get(name) ?? this.#keep(name);
    if (held) {
      response.end(held.subarray(first, last + 1));
      return;
    }
    createReadStream(join(this.#folder, name), { start: first, end: last, highWaterMark: 1 << 18 })
      .on('error', () => response.destroy())
      .pipe(response);
  }

  #keep(name: string): Buffer | undefined {
    const path = join(this.#folder, name);
    const size = statSync(path).size;
    if (size > LARGEST_CACHED) return undefined;
    const bytes = readFileSync(path);
    this.#held.set(name, bytes);
    this.#bytes += bytes.length;
    for (const [old, { length }] of this.#held) {
      if (this.#bytes <= CACHE_SIZE) break;
      this.#held.delete(old);
      this.#bytes -= length;
    }
    return bytes;
  }
}

/** Announcements by their path, looked at again a few times a second: they change, and many units ask at once. */
class AnnouncementCache {
  readonly #folder: string;
  readonly #held = new Map<string, { held: Held | undefined; until: number }>();

  constructor(folder: string) {
    this.#folder = folder;
  }

  get(path: string): Held | undefined {
    const known = this.#held.get(path);
    const now = performance.now();
    if (known && now < known.until) return known.held;
    const name = ANNOUNCEMENT.exec(path)?.[1];
    if (name === undefined) return undefined;
    const held = read(join(this.#folder, name));
    if (this.#held.size > MOST_NAMES) this.#held.clear();
    this.#held.set(path, { held, until: now + FRESH_FOR });
    return held;
  }
}

const MOST_NAMES = 4096;

function read(path: string): Held | undefined {
  try {
    const bytes = readFileSync(path);
    const etag = `"${createHash('sha256').update(bytes).digest('hex')}"`;
    const headers = {
      ...NOSNIFF,
      etag,
      'cache-control': ASK_AGAIN,
      'content-type': 'application/cose',
      'content-length': bytes.length,
    };
    return { bytes, headers };
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'ENOENT') return undefined;
    throw error;
  }
}

/** The depot over HTTP: RFC 9110 sections 13 and 14, as units and caches rely on it. */
import { createHash, randomBytes } from 'node:crypto';
import { mkdtempSync, readFileSync, writeFileSync } from 'node:fs';
import type { Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { wantedRange } from '../../src/broadcast/depot/range.ts';
import { Depot, macAnnouncement, serveDepot } from '../../src/broadcast/index.ts';
import { heldMacKey } from '../../src/cose/index.ts';
import { buildWorker, runAndKill } from '../e2e/killed-worker.ts';

const SIZE = 100_000;
const folder = mkdtempSync(join(tmpdir(), 'depot-'));
const content = randomBytes(SIZE);
const large = randomBytes(9 * 2 ** 20);
const CLASS = '149a892a-ea1e-5f65-bce3-27594a29ad0f';
const depot = new Depot(folder);
let server: Server;
let origin: string;
let file: string;
let largeFile: string;

beforeAll(async () => {
  const path = join(folder, 'vent.suit');
  writeFileSync(path, content);
  file = depot.put(path).uri;
  writeFileSync(join(folder, 'large'), large);
  largeFile = depot.put(join(folder, 'large')).uri;
  server = serveDepot({ folder });
  await new Promise<void>((resolve) => {
    server.listen(0, '127.0.0.1', () => resolve());
  });
  origin = `http://127.0.0.1:${(server.address() as AddressInfo).port}`;
});
afterAll(() => {
  server.closeAllConnections();
  server.close();
});

const ask = (path: string, headers: Record<string, string> = {}, method = 'GET') =>
  fetch(`${origin}/${path}`, { headers, method });
const bytesOf = async (answer: Response) => Buffer.from(await answer.arrayBuffer());

describe('files', () => {
  it('lie by their digest, once', () => {
    const digest = createHash('sha256').update(content).digest('hex');
    expect(file).toBe(`p/${digest}`);
    const again = depot.put(join(folder, 'vent.suit'));
    expect(again).toMatchObject({ size: SIZE, uri: file });
    expect(readFileSync(join(folder, file)).equals(content)).toBe(true);
  });

  it('come whole, with a strong validator, to be kept for ever', async () => {
    const answer = await ask(file);
    expect(answer.status).toBe(200);
    expect(answer.headers.get('etag')).toBe(`"${file.slice(2)}"`);
    expect(answer.headers.get('cache-control')).toBe('public, max-age=31536000, immutable');
    expect(answer.headers.get('accept-ranges')).toBe('bytes');
    expect((await bytesOf(answer)).equals(content)).toBe(true);
  });

  it('HEAD says the same and sends nothing', async () => {
    const answer = await ask(file, {}, 'HEAD');
    expect([answer.status, answer.headers.get('content-length')]).toEqual([200, String(SIZE)]);
    expect(await bytesOf(answer)).toHaveLength(0);
  });

  it.each([
    ['bytes=0-99', 206, 0, 100],
    ['bytes=500-', 206, 500, SIZE - 500],
    ['bytes=-7', 206, SIZE - 7, 7],
    [`bytes=${SIZE - 1}-${SIZE + 500}`, 206, SIZE - 1, 1],
    [`bytes=-${SIZE + 1}`, 206, 0, SIZE],
    ['bytes=0-0,5-6', 200, 0, SIZE],
    ['bytes=9-3', 200, 0, SIZE],
    ['items=0-3', 200, 0, SIZE],
    ['bytes=a-b', 200, 0, SIZE],
  ])('Range: %s gives %i', async (range, status, from, length) => {
    const answer = await ask(file, { range });
    expect(answer.status).toBe(status);
    expect(answer.headers.get('content-range')).toBe(
      status === 206 ? `bytes ${from}-${from + length - 1}/${SIZE}` : null,
    );
    expect((await bytesOf(answer)).equals(content.subarray(from, from + length))).toBe(true);
  });

  it.each([`bytes=${SIZE}-`, 'bytes=-0'])('Range: %s gives 416 and the size', async (range) => {
    const answer = await ask(file, { range });
    expect([answer.status, answer.headers.get('content-range')]).toEqual([416, `bytes */${SIZE}`]);
  });

  it('a range counts only under the validator it began with (If-Range, section 13.1.5)', async () => {
    const range = 'bytes=10-19';
    const status = async (condition: string) => (await ask(file, { range, 'if-range': condition })).status;
    expect(await status(`"${file.slice(2)}"`)).toBe(206);
    expect(await status(`W/"${file.slice(2)}"`)).toBe(200);
    expect(await status('"other"')).toBe(200);
    expect(await status('Fri, 27 Nov 2026 10:00:00 GMT')).toBe(200);
  });

  it('who has it already is told so (If-None-Match, section 13.1.2)', async () => {
    for (const tag of [`"${file.slice(2)}"`, `"x", W/"${file.slice(2)}"`, '*'])
      expect((await ask(file, { 'if-none-match': tag })).status).toBe(304);
    expect((await ask(file, { 'if-none-match': '"x"' })).status).toBe(200);
  });

  it('large ones stream, whole and in part', async () => {
    expect((await bytesOf(await ask(largeFile))).equals(large)).toBe(true);
    const part = await ask(largeFile, { range: 'bytes=8000000-8000099' });
    expect((await bytesOf(part)).equals(large.subarray(8_000_000, 8_000_100))).toBe(true);
  });

  it('nothing else is served: no other name, no other method, no way out of the folder', async () => {
    for (const path of [
      '',
      'p/',
      `p/${'0'.repeat(64)}`,
      'vent.suit',
      'p/../vent.suit',
      'p/..%2fvent.suit',
      'a/../vent.suit',
    ])
      expect((await ask(path)).status).toBe(404);
    for (const method of ['POST', 'PUT', 'DELETE']) {
      const answer = await ask(file, {}, method);
      expect([answer.status, answer.headers.get('allow')]).toEqual([405, 'GET, HEAD']);
    }
  });
});

describe('announcements', () => {
  it('are asked for again each time, and sent only where they changed', async () => {
    expect((await ask(`a/${CLASS}`)).status).toBe(404);
    await depot.announce(CLASS, Buffer.from('one'), 1n);
    await new Promise((resolve) => setTimeout(resolve, 300));
    const first = await ask(`a/${CLASS}`);
    const etag = first.headers.get('etag')!;
    expect([first.status, first.headers.get('cache-control')]).toEqual([200, 'public, no-cache']);
    expect((await ask(`a/${CLASS}`, { 'if-none-match': etag })).status).toBe(304);
    await depot.announce(CLASS, Buffer.from('two'), 2n);
    await new Promise((resolve) => setTimeout(resolve, 300));
    const second = await ask(`a/${CLASS}`, { 'if-none-match': etag });
    expect([second.status, await second.text()]).toEqual([200, 'two']);
  });

  it('never take the place of one with a higher counter: who was held up undoes nothing', async () => {
    const of = (counter: bigint) =>
      macAnnouncement(
        {
          classId: new Uint8Array(16),
          counter,
          ...{ notBefore: 1n, expiry: 2n, wave: 'pilot', reach: { kind: 'units', units: [] }, offer: null },
        },
        heldMacKey(new Uint8Array(8), new Uint8Array(32)),
      );
    const newer = await of(9n);
    await depot.announce('other', newer, 9n);
    expect(depot.announced('other')?.announcement.counter).toBe(9n);
    const older = await of(8n);
    await expect(depot.announce('other', older, 8n)).rejects.toThrow('announcement 9 is there already');
    expect(depot.announced('other')?.message).toEqual(newer);
    await depot.announce('other', await of(10n), 10n);
    expect(depot.announced('other')?.announcement.counter).toBe(10n);
    expect(depot.announced('nobody')).toBeUndefined();
    expect(depot.announced(CLASS)).toBeUndefined();
  });

  it('also where two processes announce at the same moment: what stands there never goes back', async () => {
    const at = mkdtempSync(join(tmpdir(), 'depot-'));
    const worker = await buildWorker('test/broadcast/announcing-worker.ts', at);
    const both = await Promise.all(
      [1, 2].map((first) => runAndKill(worker, [join(at, 'depot'), String(first)], 4000)),
    );
    expect(both.flat().filter((line) => line !== 'announced')).toEqual([]);
    for (const told of both) expect(told.length).toBeGreaterThan(0);
    const { counter } = new Depot(join(at, 'depot')).announced(CLASS)!.announcement;
    expect(counter).toBeGreaterThan(1n);
  });
});

describe('a Range header', () => {
  it('never asks for bytes that are not there, whatever it says', () => {
    fc.assert(
      fc.property(fc.string(), fc.nat(1000), (text, size) => {
        for (const header of [text, `bytes=${text}`]) {
          const wanted = wantedRange(header, size);
          if (wanted.kind !== 'part') continue;
          expect(wanted.first).toBeLessThanOrEqual(wanted.last);
          expect(wanted.last).toBeLessThan(size);
        }
      }),
    );
    fc.assert(
      fc.property(fc.nat(2000), fc.nat(2000), fc.nat(1000), (first, last, size) => {
        const wanted = wantedRange(`bytes=${first}-${last}`, size);
        if (wanted.kind === 'part') expect(wanted.last).toBeLessThan(size);
        if (wanted.kind === 'none') expect(first).toBeGreaterThanOrEqual(size);
      }),
    );
  });
});

/** Reports on their way home: kept until they are taken, by whoever can name them. */
import { createHash, randomBytes } from 'node:crypto';
import { mkdtempSync, readdirSync } from 'node:fs';
import { createServer, type IncomingMessage, type Server, type ServerResponse } from 'node:http';
import type { AddressInfo } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { Gate, Outbox, type OutboxEvent, REPORT_ANSWER } from '../../src/broadcast/index.ts';

const idOf = (report: Uint8Array) => createHash('sha256').update(report).digest('hex');
let server: Server;
let intake: URL;
let answer: (report: Buffer, response: ServerResponse) => void;
let received: Buffer[];
let events: OutboxEvent[];
let folder: string;
let time: number;

beforeEach(async () => {
  [received, events, time] = [[], [], 0];
  folder = join(mkdtempSync(join(tmpdir(), 'outbox-')), 'unsent');
  server = createServer(async (request: IncomingMessage, response) => {
    const pieces: Buffer[] = [];
    for await (const piece of request) pieces.push(piece);
    const report = Buffer.concat(pieces);
    received.push(report);
    answer(report, response);
  });
  await new Promise<void>((resolve) => {
    server.listen(0, '127.0.0.1', () => resolve());
  });
  intake = new URL(`http://127.0.0.1:${(server.address() as AddressInfo).port}/reports`);
});
afterEach(() => {
  server.closeAllConnections();
  server.close();
});

const outbox = () => new Outbox({ folder, intake, tell: (event) => events.push(event), now: () => time });
const unsent = () => readdirSync(folder).filter((name) => !name.startsWith('.'));
const says = (status: number, body: (report: Buffer) => object, headers = {}) => {
  answer = (report, response) => {
    response.writeHead(status, headers);
    response.end(JSON.stringify(body(report)));
  };
};
const taken = (report: Buffer) => ({ format: REPORT_ANSWER, report: idOf(report), outcome: 'new' });

describe('a report', () => {
  it('lies in the folder until it is taken, and goes out oldest first', async () => {
    const box = outbox();
    const reports = [1, 2, 3].map(() => randomBytes(300));
    for (const [i, report] of [...reports.entries()].reverse()) box.put(9 + i, report);
    expect(unsent()).toHaveLength(3);
    says(200, taken);
    await box.send();
    expect(received.map(idOf)).toEqual(reports.map(idOf));
    expect(events.map(({ event }) => event)).toEqual(['reported', 'reported', 'reported']);
    expect(unsent()).toEqual([]);
    expect(box.dueIn()).toBeUndefined();
  });

  it('is there after a restart, and is the same when it is sent again', async () => {
    outbox().put(4, randomBytes(300));
    says(503, () => ({}));
    await outbox().send();
    says(200, taken);
    await outbox().send();
    expect(received).toHaveLength(2);
    expect(received[0]!.equals(received[1]!)).toBe(true);
    expect(unsent()).toEqual([]);
  });

  it.each([
    ['a stranger who says OK', 200, () => ({ ok: true })],
    ['an answer about another report', 200, () => ({ format: REPORT_ANSWER, report: '00'.repeat(32) })],
    ['a stranger who refuses', 422, () => ({})],
    ['an intake that does not know the unit yet', 403, taken],
    ['an intake without room', 507, () => ({})],
  ])('is kept for later after %s', async (_, status, body) => {
    const box = outbox();
    box.put(4, randomBytes(300));
    says(status, body);
    await box.send();
    expect(unsent()).toHaveLength(1);
    expect(events.map(({ event }) => event)).toEqual(['not-reported']);
  });

  it('is given up where the intake names it and says that it never counts', async () => {
    const box = outbox();
    box.put(4, randomBytes(300));
    says(422, (report) => ({ ...taken(report), outcome: 'forged', code: 'signature-wrong' }));
    await box.send();
    expect(unsent()).toEqual([]);
    expect(events).toMatchObject([{ event: 'report-refused', code: 'signature-wrong' }]);
  });

  it('is tried later and later while nobody takes it, and not before it is asked to', async () => {
    const box = outbox();
    box.put(4, randomBytes(300));
    says(503, () => ({}));
    const waits: number[] = [];
    for (let i = 0; i < 12; i++) {
      await box.send();
      waits.push(box.dueIn()!);
      await box.send();
      time += waits.at(-1)!;
    }
    expect(received).toHaveLength(12);
    expect(waits[0]).toBeGreaterThanOrEqual(1000);
    expect(waits[0]).toBeLessThanOrEqual(2000);
    expect(waits.at(-1)).toBeGreaterThanOrEqual(300_000);
    expect(waits.at(-1)).toBeLessThanOrEqual(600_000);
    says(503, () => ({}), { 'retry-after': '550' });
    await box.send();
    expect(box.dueIn()).toBeGreaterThanOrEqual(550_000);
  });

  it('is dropped, oldest first, where a unit without a link has too many', () => {
    const box = outbox();
    for (let age = 0; age < 260; age++) box.put(age, randomBytes(100));
    expect(unsent()).toHaveLength(256);
    expect(events.filter(({ event }) => event === 'report-dropped')).toHaveLength(4);
    expect(unsent()[0]).toMatch(/^0000000004-/);
  });

  it('an answer without an end is not read to it', async () => {
    const box = outbox();
    box.put(4, randomBytes(300));
    answer = (_, response) => {
      const pour = () => {
        while (!response.destroyed && response.write(Buffer.alloc(65_536)));
        if (!response.destroyed) response.once('drain', pour);
      };
      pour();
    };
    await box.send();
    expect(events).toMatchObject([{ event: 'not-reported' }]);
  });
});

describe('a gate', () => {
  it('lets so many through at once, all in the end, also after one that fails', async () => {
    const gate = new Gate(3);
    let [inside, most] = [0, 0];
    const work = async (fails: boolean) => {
      inside += 1;
      most = Math.max(most, inside);
      await new Promise((resolve) => setTimeout(resolve, 1));
      inside -= 1;
      if (fails) throw new Error('no');
      return 1;
    };
    const ends = await Promise.allSettled(
      Array.from({ length: 50 }, (_, i) => gate.pass(() => work(i % 7 === 0))),
    );
    expect(most).toBe(3);
    expect(ends.filter(({ status }) => status === 'fulfilled')).toHaveLength(42);
  });
});

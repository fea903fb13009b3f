/** From a sealed payload to a unit that runs it: announcing, serving, and an agent that is killed, lied to, and cut off. */
import { type ChildProcess, spawn } from 'node:child_process';
import { randomBytes } from 'node:crypto';
import { cpSync, existsSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { createServer, type Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { afterAll, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { Bench, COMMAND, cortexImage, lastBytes } from './command.ts';
import { documentOf, started } from './served.ts';

const bench = new Bench();
const WS = { cwd: 'WS' };
let served: ChildProcess;
let depot: string;

beforeAll(async () => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('class add dosing --model DC-1 --scheme symmetric', WS);
  bench.ok('root create', WS);
  bench.ok('signer create line-1 --class vent', WS);
  bench.ok('signer create ann-1 --purpose announcement --class vent', WS);
  bench.ok('class-key create dosing', WS);
  bench.ok('provision vent --serial 0001 --out factory.unit', WS);
  bench.ok('provision dosing --serial 0001 --out dosing.unit', WS);
  writeFileSync(bench.path('WS', 'one.bin'), cortexImage(60_000));
  writeFileSync(bench.path('WS', 'two.bin'), cortexImage(200_000, 0xa5));
  bench.ok('seal one.bin --class vent --version 1.4.0 --out one.suit', WS);
  bench.ok('seal two.bin --class vent --version 1.5.0 --detached --out two.suit', WS);
  bench.ok('seal one.bin --class dosing --version 2.0.0 --out dosing.suit', WS);
  bench.ok('announce vent --depot depot', WS);
  served = started(bench, 'depot serve depot --json');
  depot = (await documentOf<{ origin: string }>(served)).origin;
});
afterAll(() => {
  served.kill('SIGTERM');
});
beforeEach(() => {
  for (const name of ['vent.unit', 'vent.unit.agent', 'reports'])
    rmSync(bench.path('WS', name), { recursive: true, force: true });
  cpSync(bench.path('WS', 'factory.unit'), bench.path('WS', 'vent.unit'));
});

const agent = () =>
  bench.ok(`agent vent.unit --depot ${depot} --health true --once --reports reports --json`, WS).json;
const eventsOf = (run: { events: { event: string }[] }) => run.events.map(({ event }) => event);

/** The same while this process answers as a depot. */
async function agentAt(from: string): Promise<{ events: { event: string }[] }> {
  const words = `agent vent.unit --depot ${from} --health true --once --json`.split(' ');
  const child = spawn(process.execPath, [COMMAND, ...words], {
    cwd: bench.path('WS'),
    env: bench.environment,
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  let told = '';
  for await (const piece of child.stdout) told += piece;
  return JSON.parse(told);
}

describe('a broadcast', () => {
  it('reaches a unit: heard, fetched, installed, run on trial, kept, reported', () => {
    bench.ok('announce vent one.suit --depot depot --wave pilot', WS);
    const told = agent();
    expect(eventsOf(told)).toEqual(['not-started', 'heard', 'fetched', 'installed', 'started', 'kept']);
    expect(bench.ok('unit show vent.unit --json', WS).json.slots[0]).toMatchObject({ state: 'kept' });
    expect(eventsOf(agent())).toEqual(['started']);
    const reports = readdirSync(bench.path('WS', 'reports')).sort();
    expect(reports.length).toBeGreaterThanOrEqual(3);
    const appraised = reports.map(
      (name) => bench.run(`report appraise reports/${name} --json`, WS).json.verdict,
    );
    expect(appraised).not.toContain(undefined);
  });

  it('with an image beside the envelope, and one image replaced by the next', () => {
    bench.ok('announce vent one.suit --depot depot', WS);
    agent();
    bench.ok('announce vent two.suit --image two.bin --depot depot', WS);
    expect(eventsOf(agent())).toEqual([
      'started',
      'heard',
      'fetched',
      'fetched',
      'installed',
      'started',
      'kept',
    ]);
    expect(bench.ok('boot vent.unit --json', WS).json.version).toBe('1.5.0');
  });

  it('reaches a unit of the symmetric scheme under its derived key', () => {
    bench.ok('announce dosing dosing.suit --depot depot', WS);
    const told = bench.ok(`agent dosing.unit --depot ${depot} --health true --once --json`, WS).json;
    expect(eventsOf(told)).toContain('kept');
  });

  it('goes as an encrypted message where the class hides messages, and with a caution where it does not', () => {
    bench.ok('class add mist --model MS-1 --scheme asymmetric', WS);
    const file = bench.path('WS', 'classes', 'mist.yaml');
    writeFileSync(
      file,
      readFileSync(file, 'utf8').replace(/^confidentiality: .*/m, 'confidentiality: message'),
    );
    bench.ok('signer create line-2 --class mist', WS);
    bench.ok('signer create ann-2 --purpose announcement --class mist', WS);
    bench.ok('provision mist --serial 0001 --out mist.unit', WS);
    for (const [version, more] of [
      ['1.0.0', ''],
      ['1.1.0', '--image one.bin'],
    ]) {
      const sealed = `mist-${version}.suit`;
      bench.ok(
        `seal one.bin --class mist --version ${version} --out ${sealed} ${more && '--detached'}`.trim(),
        WS,
      );
      expect(bench.ok(`announce mist ${sealed} --depot depot ${more}`.trim(), WS).stderr).toContain(
        'goes in clear',
      );
      bench.ok(`message encrypt ${sealed} --class mist --out sent.message --force`, WS);
      const { stderr } = bench.ok(`announce mist sent.message --depot depot ${more}`.trim(), WS);
      expect(stderr).not.toContain('goes in clear');
      const agent = `agent mist.unit --depot ${depot} --health true --once --reports mist-${version} --json`;
      const told = bench.ok(agent, WS).json;
      expect(eventsOf(told)).toEqual(expect.arrayContaining(['heard', 'fetched', 'installed', 'kept']));
      const named = readdirSync(bench.path('WS', `mist-${version}`))
        .map((name) => bench.run(`report appraise mist-${version}/${name} --json`, WS).json)
        .filter(({ release }) => release?.version === version);
      expect(named.map(({ report }) => report.says).sort()).toEqual([
        'kept: it ran and proved itself',
        ...Array(2).fill('the image is about to run; how it ends is not known yet'),
      ]);
      expect(bench.ok('boot mist.unit --json', WS).json.version).toBe(version);
    }
    const message = readFileSync(bench.path('WS', 'sent.message'));
    message[message.length - 1]! ^= 1;
    writeFileSync(bench.path('WS', 'damaged.message'), message);
    const { error } = bench.ok('announce mist damaged.message --depot depot --json', {
      ...WS,
      status: 2,
    }).json;
    expect(error.message).toContain('no envelope that a unit could read');
  });

  it('does not reach units outside its wave, and an offer can be taken back', () => {
    bench.ok('announce vent one.suit --depot depot --share 0', WS);
    const told = agent();
    expect(told.events).toContainEqual(expect.objectContaining({ event: 'heard', mine: false }));
    expect(eventsOf(told)).not.toContain('fetched');
    bench.ok('announce vent one.suit --depot depot --serial 0002 --serial 0001', WS);
    bench.ok('announce vent --depot depot', WS);
    expect(eventsOf(agent())).toEqual(['not-started', 'heard']);
    bench.ok('announce vent one.suit --depot depot --serial 0002 --serial 0001', WS);
    expect(eventsOf(agent())).toContain('kept');
  });

  it('is not kept where the self-test fails, and the unit falls back in the end', () => {
    bench.ok('announce vent one.suit --depot depot', WS);
    agent();
    bench.ok('announce vent two.suit --image two.bin --depot depot', WS);
    const unwell = bench.ok(`agent vent.unit --depot ${depot} --health false --once --json`, WS).json;
    expect(eventsOf(unwell)).toEqual(expect.arrayContaining(['installed', 'started', 'unwell']));
    for (let i = 0; i < 4; i++) bench.ok(`agent vent.unit --depot ${depot} --health false --once --json`, WS);
    expect(bench.ok('boot vent.unit --json', WS).json.version).toBe('1.4.0');
  });
});

describe('a hostile way to the unit', () => {
  it('a depot that is not there is told with its reason, and the round ends with status 3', () => {
    const line = 'agent vent.unit --depot http://127.0.0.1:1 --health true --once --json';
    const { events } = bench.ok(line, { ...WS, status: 3 }).json;
    expect(events.at(-1)).toMatchObject({
      event: 'not-fetched',
      says: expect.stringMatching(/127\.0\.0\.1/),
    });
    expect(events.at(-1).says).not.toContain('fetch failed');
  });

  it('an older announcement that is served again is not taken', () => {
    bench.ok('announce vent one.suit --depot depot', WS);
    const folder = bench.path('WS', 'depot', 'a');
    const name: string = bench.ok('class show vent --json', WS).json.class_ids[0];
    const old = readFileSync(`${folder}/${name}`);
    agent();
    bench.ok('announce vent two.suit --image two.bin --depot depot', WS);
    agent();
    const newest = readFileSync(`${folder}/${name}`);
    writeFileSync(`${folder}/${name}`, old);
    expect(agent().events).toContainEqual(expect.objectContaining({ event: 'ignored', code: 'counter-old' }));
    writeFileSync(`${folder}/${name}`, newest);
    expect(bench.ok('boot vent.unit --json', WS).json.version).toBe('1.5.0');
  });

  it.each([
    ['no JSON', () => '{"format":'],
    ['a counter below zero', (text: string) => text.replace(/"counter": "\d+"/, '"counter": "-3"')],
    [
      'what is no announcement',
      (text: string) => text.replace(/"following": "[^"]+"/, '"following": "AAAA"'),
    ],
  ])('an agent whose memory is damaged (%s) hears nothing, and says what to do', (_, damage) => {
    bench.ok('announce vent one.suit --depot depot', WS);
    agent();
    const memory = bench.path('WS', 'vent.unit.agent', 'agent.json');
    const damaged = damage(readFileSync(memory, 'utf8'));
    expect(damaged).not.toBe(readFileSync(memory, 'utf8'));
    writeFileSync(memory, damaged);
    bench.ok('announce vent two.suit --image two.bin --depot depot', WS);
    const { error } = bench.ok(`agent vent.unit --depot ${depot} --health true --once --json`, {
      ...WS,
      status: 3,
    }).json;
    expect(error).toMatchObject({
      code: 'broadcast-memory',
      message: expect.stringContaining('agent.json'),
      hint: expect.stringContaining('remove it'),
    });
    expect(readFileSync(memory, 'utf8')).toBe(damaged);
    expect(bench.ok('boot vent.unit --json', WS).json.version).toBe('1.4.0');
  });

  it('a depot that serves other bytes gets nothing installed, and the truth is taken once it is served', async () => {
    bench.ok('announce vent two.suit --image two.bin --depot depot', WS);
    let lie = true;
    const hostile = await liar(async (path) => {
      const answer = await fetch(`${depot}${path}`);
      const bytes = Buffer.from(await answer.arrayBuffer());
      if (lie && path.startsWith('/p/')) bytes[bytes.length >> 1]! ^= 1;
      return { status: answer.status, bytes };
    });
    try {
      const told = await agentAt(hostile.origin);
      expect(told.events).toContainEqual(
        expect.objectContaining({ event: 'not-fetched', code: 'other-bytes' }),
      );
      expect(bench.ok('unit show vent.unit --json', WS).json.slots[0].state).toBe('empty');
      lie = false;
      expect(eventsOf(await agentAt(hostile.origin))).toContain('kept');
    } finally {
      hostile.server.close();
    }
  });

  it('a depot that never ends its answer is cut off at the announced size', async () => {
    bench.ok('announce vent one.suit --depot depot', WS);
    const hostile = await liar(async (path) => {
      const answer = await fetch(`${depot}${path}`);
      const bytes = Buffer.from(await answer.arrayBuffer());
      return {
        status: answer.status,
        bytes: path.startsWith('/p/') ? Buffer.concat([bytes, randomBytes(1 << 22)]) : bytes,
      };
    });
    try {
      expect((await agentAt(hostile.origin)).events).toContainEqual(
        expect.objectContaining({ event: 'not-fetched', code: 'too-long' }),
      );
    } finally {
      hostile.server.close();
    }
  });

  it('a download that is cut off goes on where it stopped', async () => {
    bench.ok('announce vent two.suit --image two.bin --depot depot', WS);
    const asked: (string | undefined)[] = [];
    const size = statSync(bench.path('WS', 'two.bin')).size;
    const flaky = await liar(async (path, headers) => {
      const range = headers.range as string | undefined;
      const answer = await fetch(`${depot}${path}`, {
        headers: range ? { range, 'if-range': String(headers['if-range']) } : {},
      });
      const bytes = Buffer.from(await answer.arrayBuffer());
      const isImage = path.startsWith('/p/') && (bytes.length === size || range !== undefined);
      if (isImage) asked.push(range);
      const cut = isImage && asked.length < 3 ? Math.floor(bytes.length / 3) : undefined;
      return { status: answer.status, bytes, cut, headers: answer.headers };
    });
    try {
      expect((await agentAt(flaky.origin)).events.at(-1)).toMatchObject({
        event: 'not-fetched',
        code: 'unreachable',
      });
      await agentAt(flaky.origin);
      expect(eventsOf(await agentAt(flaky.origin))).toContain('kept');
      expect(asked[0]).toBeUndefined();
      expect(asked.slice(1).every((range) => /^bytes=[1-9]\d*-$/.test(range ?? ''))).toBe(true);
    } finally {
      flaky.server.close();
    }
  });

  it('a power cut between start and keep costs one try: the unit falls back, and takes the same offer again', () => {
    bench.ok('announce vent one.suit --depot depot', WS);
    agent();
    bench.ok('announce vent two.suit --image two.bin --depot depot', WS);
    const line = `agent vent.unit --depot ${depot} --once`;
    bench.run(line, { ...WS, more: ['--health', 'kill -9 $PPID'] });
    expect(bench.ok('unit show vent.unit --json', WS).json.slots[1].state).toBe('on trial');
    const { events } = agent();
    expect(events.filter(({ event }: { event: string }) => event === 'started')).toMatchObject([
      { version: '1.4.0', state: 'kept' },
      { version: '1.5.0', state: 'on trial' },
    ]);
    expect(bench.ok('boot vent.unit --json', WS).json).toMatchObject({ version: '1.5.0', state: 'kept' });
  });

  it('an agent that is killed at any moment goes on, and the unit ends with genuine firmware', async () => {
    bench.ok('announce vent two.suit --image two.bin --depot depot', WS);
    const line = `agent vent.unit --depot ${depot} --health true --once`.split(' ');
    for (let delay = 150; delay < 1500; delay += 110) {
      const child = spawn(process.execPath, [COMMAND, ...line], {
        cwd: bench.path('WS'),
        env: bench.environment,
        stdio: 'ignore',
      });
      const ended = new Promise((resolve) => child.on('exit', resolve));
      setTimeout(() => child.kill('SIGKILL'), delay);
      await ended;
    }
    agent();
    agent();
    expect(bench.ok('boot vent.unit --json', WS).json).toMatchObject({ version: '1.5.0', state: 'kept' });
    expect(existsSync(bench.path('WS', 'vent.unit.agent', 'files'))).toBe(true);
    expect(readdirSync(bench.path('WS', 'vent.unit.agent', 'files'))).toEqual([]);
  });
});

describe('announcing', () => {
  it('takes only what is on record as sealed for the class, and images that belong to it', () => {
    const refused = (line: string) =>
      bench.ok(`${line} --depot depot --json`, { ...WS, status: 2 }).json.error;
    expect(refused('announce dosing one.suit').message).toContain('not on record as sealed for class dosing');
    expect(refused('announce vent dosing.suit').message).toContain('not on record as sealed for class vent');
    const forged = readFileSync(bench.path('WS', 'one.suit'));
    forged[lastBytes(forged).manifest]! ^= 1;
    writeFileSync(bench.path('WS', 'forged.suit'), forged);
    expect(bench.run('announce vent forged.suit --depot depot', WS).status).not.toBe(0);
    for (const at of [lastBytes(forged).seal, forged.length - 1]) {
      const damaged = readFileSync(bench.path('WS', 'one.suit'));
      damaged[at]! ^= 1;
      writeFileSync(bench.path('WS', 'damaged.suit'), damaged);
      expect(refused('announce vent damaged.suit').message).toContain('not the file that was sealed');
    }
    expect(refused('announce vent two.suit').message).toContain('no image is given');
    expect(refused('announce vent two.suit --image one.bin').message).toContain(
      'not an image of that release',
    );
    bench.ok('announce vent two.suit --image absent.bin --depot depot', { ...WS, status: 3 });
  });

  it('needs a signer of announcements, and says how to make one', () => {
    bench.ok('class add pump --model PC-1 --scheme asymmetric', WS);
    const refused = bench.ok('announce pump one.suit --depot depot --json', { ...WS, status: 2 }).json;
    expect(refused.error.message).toContain('no signer of announcements covers pump');
    expect(refused.error.hint).toContain('--purpose announcement');
  });

  it('never gives a counter twice', () => {
    const counters = [1, 2, 3].map(() => bench.ok('announce vent --depot depot --json', WS).json.counter);
    expect(new Set(counters).size).toBe(3);
    expect(bench.ok('ledger check --json', WS).json.intact).toBe(true);
  });
});

interface Lie {
  readonly status: number;
  readonly bytes: Buffer;
  /** Bytes after which the connection is cut. */
  readonly cut?: number | undefined;
  readonly headers?: Headers;
}

/** A server between agent and depot that answers as `lie` says. */
async function liar(lie: (path: string, headers: NodeJS.Dict<string | string[]>) => Promise<Lie>) {
  const server: Server = createServer(async (request, response) => {
    const { status, bytes, cut, headers } = await lie(request.url!, request.headers);
    for (const name of ['etag', 'content-range']) {
      const value = headers?.get(name);
      if (value) response.setHeader(name, value);
    }
    response.writeHead(status, { 'content-length': bytes.length });
    if (cut === undefined) response.end(bytes);
    else response.write(bytes.subarray(0, cut), () => response.destroy());
  });
  await new Promise<void>((resolve) => {
    server.listen(0, '127.0.0.1', () => resolve());
  });
  return { server, origin: `http://127.0.0.1:${(server.address() as AddressInfo).port}` };
}

/** Processes that serve, watched from outside: figures, health, and a log without secrets. */
import type { ChildProcess } from 'node:child_process';
import { readFileSync } from 'node:fs';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { Bench, PASSPHRASE } from './command.ts';
import { documentOf, started } from './served.ts';

/** On a busy machine. */
const PATIENT = { timeout: 100_000 };
const bench = new Bench();
const WS = { cwd: 'WS' };
const children: ChildProcess[] = [];

beforeAll(() => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('root create', WS);
  bench.ok('announce vent --depot depot', { ...WS, status: 2 });
});

afterAll(() => {
  for (const child of children) child.kill('SIGKILL');
});

interface Opened {
  readonly origin: string;
  readonly metrics: string;
  readonly entry?: string;
}

/** Starts a command that serves, and gives what it says when it is open. */
async function serving(line: string): Promise<Opened> {
  const child = started(bench, `${line} --json`);
  children.push(child);
  return documentOf<Opened>(child);
}

const textOf = async (url: string) => (await fetch(url)).text();

describe('a process that serves', () => {
  it('tells how it is doing, at the desk, and logs no secret that comes to it', async () => {
    const desk = await serving('serve --metrics-port 0 --log desk.log');
    const entry = new URL(desk.entry!).hash.slice(1);
    const wrong = { token: 'fs_not-a-token-of-anybody', cookie: 'c00kie-of-nobody' };
    const own = { 'content-type': 'application/json', 'x-fieldseal-desk': '1' };
    const ask = (path: string, headers: Record<string, string>, body?: object) =>
      fetch(`${desk.origin}/api/v1/${path}`, {
        headers,
        ...(body && { method: 'POST', body: JSON.stringify(body) }),
      });
    const entered = await ask('session/entry', own, { entry });
    expect(entered.status).toBe(200);
    const [cookie] = entered.headers.getSetCookie().map((text) => text.split(';')[0]!);
    const held = await ask(
      'session/passphrase',
      { ...own, cookie: cookie! },
      { passphrase: PASSPHRASE, minutes: 5 },
    );
    expect(held.status).toBe(200);
    const refused = { authorization: `Bearer ${wrong.token}`, cookie: `fieldseal-desk=${wrong.cookie}` };
    expect((await ask(`session?entry=${entry}`, refused)).status).toBe(401);
    expect((await fetch(`${desk.metrics}/health/live`)).status).toBe(200);
    expect((await fetch(`${desk.metrics}/health/ready`)).status).toBe(200);
    await expect
      .poll(() => textOf(`${desk.metrics}/metrics`), PATIENT)
      .toContain('fieldseal_http_requests_total{method="GET"');
    const read = () => readFileSync(bench.path('WS', 'desk.log'), 'utf8');
    await expect.poll(read, PATIENT).toContain('"status":401');
    const log = read();
    expect(log).toContain('/api/v1/session/passphrase');
    for (const secret of [entry, PASSPHRASE, wrong.token, wrong.cookie, cookie!.split('=')[1]!])
      expect(log).not.toContain(secret);
    expect(await textOf(`${desk.metrics}/metrics`)).not.toContain(entry);
  });

  it('tells of units and reports, at a depot that takes reports', async () => {
    const depot = await serving('depot serve . --fleet --metrics-port 0 --log depot.log');
    const answer = await fetch(`${depot.origin}/reports`, { method: 'POST', body: 'no report' });
    expect(answer.status).toBe(422);
    await expect
      .poll(() => textOf(`${depot.metrics}/metrics`), PATIENT)
      .toContain('{method="POST",status="422"} 1');
    const told = await textOf(`${depot.metrics}/metrics`);
    expect(told).toContain('fieldseal_reports_total{outcome="malformed"} 1');
    expect(told).toContain('# TYPE fieldseal_units gauge');
    expect((await fetch(`${depot.metrics}/health/ready`)).status).toBe(200);
    expect(readFileSync(bench.path('WS', 'depot.log'), 'utf8')).toContain('"path":"/reports","status":422');
  });

  it('tells of its looks, and that it goes on, where it steers', async () => {
    const child = started(
      bench,
      'broadcast steer vent --depot depot --every 0 --metrics-port 0 --log steer.log',
    );
    children.push(child);
    let said = '';
    child.stdout!.on('data', (piece) => (said += piece));
    await expect.poll(() => said, PATIENT).toContain('nothing is to be steered');
    const [, metrics] = /figures at (\S+)\/metrics/.exec(said)!;
    expect((await fetch(`${metrics}/health/ready`)).status).toBe(200);
    const told = await textOf(`${metrics}/metrics`);
    expect(told).toMatch(/fieldseal_steering_looks_total\{outcome="nothing"\} [1-9]/);
    expect(told).toContain('# TYPE fieldseal_waves gauge');
    child.kill('SIGTERM');
    await expect.poll(() => child.exitCode, PATIENT).toBe(0);
    expect(readFileSync(bench.path('WS', 'steer.log'), 'utf8')).toContain('"says":"ended"');
  });

  it('says so where it cannot be watched', () => {
    expect(bench.ok('serve --metrics-address 127.0.0.1', { ...WS, status: 2 }).stderr).toContain(
      '--metrics-port',
    );
    expect(bench.ok('serve --log no/such/folder/desk.log', { ...WS, status: 3 }).stderr).toContain('ENOENT');
    const once = 'broadcast steer vent --depot depot --once --metrics-port 0';
    expect(bench.ok(once, { ...WS, status: 2 }).stderr).toContain('--once');
    expect(bench.ok('serve --metrics-port 70000', { ...WS, status: 2 }).stderr).toContain(
      'ports end at 65535',
    );
  });
});

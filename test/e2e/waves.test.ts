/** A release goes out wave by wave to real agents that report over HTTP; a bad one stops at the pilot; it can be taken back. */
import type { ChildProcess } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { Bench, cortexImage, twoPeople } from './command.ts';
import { documentOf, started } from './served.ts';

// Every round starts several programs.
vi.setConfig({ testTimeout: 900_000 });

const bench = new Bench();
const WS = { cwd: 'WS' };
const UNITS = ['0001', '0002', '0003', '0004', '0005'];
const MOST_ROUNDS = 12;
let served: ChildProcess;
let origin: string;

const PLAN = `format: fieldseal.broadcast-plan/1
class: vent
success: 1000
within: 1 d
soak: 1 s
silence: 1 d
announced_for: 14 d
stop:
  refused: { share: 0, least: 1 }
  fell_back: { share: 0, least: 1 }
  silent: { share: 0, least: 1 }
waves:
  - name: pilot
    serials: ["0001", "0002"]
  - name: everyone
    share: 1000
`;

beforeAll(async () => {
  bench.ok('init WS --vendor-domain hollinridge.example');
  bench.ok('class add vent --model VC-2 --scheme asymmetric', WS);
  bench.ok('root create', WS);
  bench.ok('signer create line-1 --class vent', WS);
  bench.ok('signer create ann-1 --purpose announcement --class vent', WS);
  mkdirSync(bench.path('WS', 'field'));
  for (const serial of UNITS) bench.ok(`provision vent --serial ${serial} --out field/${serial}.unit`, WS);
  for (const [nth, name] of ['one', 'two', 'three'].entries()) {
    writeFileSync(bench.path('WS', `${name}.bin`), cortexImage(20_000, 0x50 + nth));
    bench.ok(`seal ${name}.bin --class vent --version 1.${nth}.0 --out ${name}.suit`, WS);
  }
  writeFileSync(bench.path('WS', 'waves.yaml'), PLAN);
  mkdirSync(bench.path('WS', 'depot'));
  served = started(bench, 'depot serve depot --fleet --json');
  origin = (await documentOf<{ origin: string }>(served)).origin;
}, 900_000);
afterAll(() => {
  served?.kill('SIGTERM');
});

/** One round of every agent; units whose self-test fails or that refuse make it end with another status. */
const agents = (health = 'true', more = '') =>
  bench.run(
    `agent field --depot ${origin} --health ${health} --once --report-to ${origin}/reports ${more} --json`,
    WS,
  ).json;
const steer = () => bench.run('broadcast steer vent --depot depot --once --log steer.log --json', WS).json;
const status = () => bench.ok('broadcast status vent --json', WS).json;
const begin = (envelope: string, more = '') =>
  bench.ok(`broadcast begin vent ${envelope} --plan waves.yaml --depot depot ${more} --json`, WS).json;
const versions = () =>
  UNITS.map((serial) => bench.run(`boot field/${serial}.unit --json`, WS).json.version as string | null);
const order = (what: string, reason: string, more = '') =>
  bench.run(`broadcast ${what} vent ${more} --json`, { ...WS, more: ['--reason', reason] });

/** Steers and lets agents go round until `end`. */
function until(
  end: (shown: ReturnType<typeof status>) => boolean,
  health?: string,
): ReturnType<typeof status> {
  for (let round = 0; round < MOST_ROUNDS; round++) {
    steer();
    const shown = status();
    if (end(shown)) return shown;
    agents(health);
  }
  throw new Error(`it did not come to its end: ${JSON.stringify(status(), undefined, 1)}`);
}

describe('a broadcast in waves', () => {
  it('a plan to begin from is written, judged, and names what is wrong with it', () => {
    bench.ok('broadcast plan vent --out draft.yaml', WS);
    expect(readFileSync(bench.path('WS', 'draft.yaml'), 'utf8')).toContain('serials:\n      - "0001"');
    const judged = bench.ok('broadcast plan vent --plan waves.yaml --json', WS).json;
    expect(judged).toMatchObject({ units: 5, waves: [{ name: 'pilot', units: 2 }, { units: 3 }] });
    const sent = bench.ok('broadcast plan vent one.suit --plan waves.yaml --json', WS).json;
    expect(sent).toMatchObject({ release: { sequence_number: '1' }, refused: null, cautions: [] });
    const other = bench.ok('broadcast plan vent one.bin --plan waves.yaml', { ...WS, status: 1 });
    expect(other.stderr).toContain(
      'broadcast begin refuses it: one.bin is no envelope that a unit could read',
    );
    bench.ok('broadcast plan vent --image one.bin --plan waves.yaml', { ...WS, status: 2 });
    bench.ok('broadcast plan vent one.suit --out another.yaml', { ...WS, status: 2 });
    writeFileSync(bench.path('WS', 'wrong.yaml'), PLAN.replace('share: 1000', 'share: 2000'));
    const wrong = bench.ok('broadcast plan vent --plan wrong.yaml', { ...WS, status: 2 });
    expect(wrong.stderr).toMatch(
      /wrong\.yaml:16:\d+: waves\[1\]\.share: expected a whole number from 1 to 1000/,
    );
  });

  it('nobody is told before it is steered; then the pilot, and the others only after it kept the release', () => {
    expect(begin('one.suit')).toMatchObject({ state: 'running', waves: [{ units: 2 }, { units: 3 }] });
    agents();
    expect(versions()).toEqual([null, null, null, null, null]);
    for (const once of ['--once', '']) {
      const elsewhere = bench.run(`broadcast steer vent --depot elsewhere ${once} --json`, WS);
      expect(elsewhere.status).toBe(3);
      expect(elsewhere.json.error).toMatchObject({
        code: 'broadcast-depot',
        message: expect.stringContaining('depot elsewhere: what is offered of release 1 is not there'),
        hint: expect.stringContaining('name the depot that the broadcast was begun with'),
      });
    }
    expect(steer()).toMatchObject({ steered: true, lacking: null, announced: { counter: '1' } });
    const log = readFileSync(bench.path('WS', 'steer.log'), 'utf8');
    expect(log).toMatch(/"do":"open".*"wave":1.*"says":"decided"/);
    expect(log).toMatch(/"counter":"1".*"says":"announced"/);
    const past = bench.ok('announce vent one.suit --depot depot --json', { ...WS, status: 1 }).json;
    expect(past.error).toMatchObject({ code: 'broadcast-under-way' });
    expect(past.error.message).toContain('past its waves and its stop rules');
    agents();
    expect(versions()).toEqual(['1.0.0', '1.0.0', null, null, null]);
    const done = until(({ state }) => state === 'done');
    expect(versions()).toEqual(['1.0.0', '1.0.0', '1.0.0', '1.0.0', '1.0.0']);
    expect(done.waves.map(({ state, kept }: { state: string; kept: number }) => [state, kept])).toEqual([
      ['passed', 2],
      ['passed', 3],
    ]);
  });

  it('a bad release stops at the pilot by its rule, with the figures; nobody else ever hears of it', () => {
    begin('two.suit');
    const stopped = until(({ state }) => state === 'paused', 'false');
    expect(stopped.why).toMatch(
      /^wave pilot: \d of \d units \(\d+ of a thousand\) that answered fell back; the plan stops at more than 0/,
    );
    for (let round = 0; round < 3; round++) agents();
    expect(steer()).toMatchObject({ announced: null, broadcast: { state: 'paused' } });
    expect(versions()).toEqual(['1.0.0', '1.0.0', '1.0.0', '1.0.0', '1.0.0']);
    expect(stopped.waves[1]).toMatchObject({ state: 'planned', kept: 0 });
    const entries = bench.ok('ledger list --json', WS).json.entries;
    const stop = entries.findLast(
      ({ facts }: { facts: { step?: string } }) => facts.step === 'broadcast-paused',
    );
    expect(stop.facts.says).toBe(`paused: ${stopped.why}`);
  });

  it('halted it is over; halting takes the offer back from units that have not begun', () => {
    expect(order('halt', '1.1.0 fails its self-test', '--depot depot').json).toMatchObject({
      state: 'halted',
      announced: 'here',
    });
    expect(order('resume', 'no').status).toBe(1);
    begin('three.suit');
    steer();
    const halted = order('halt', 'wrong night setpoint', '--depot depot');
    expect(halted.status).toBe(0);
    const { events } = agents();
    expect(events).toContainEqual(expect.objectContaining({ event: 'heard', mine: false }));
    expect(versions()).toEqual(['1.0.0', '1.0.0', '1.0.0', '1.0.0', '1.0.0']);
  });

  it('an order that nobody announces says so, and ends with status 4', () => {
    begin('three.suit');
    steer();
    const paused = order('pause', 'storm');
    expect(paused.status).toBe(4);
    expect(paused.json).toMatchObject({ state: 'paused', announced: 'nobody' });
    expect(order('resume', 'the storm is over', '--depot depot').json).toMatchObject({
      announced: 'here',
      state: 'running',
    });
  });

  it('with a condition units wait, and say so, until the command says that it is met', () => {
    order('halt', 'begun anew with a condition', '--depot depot');
    writeFileSync(bench.path('WS', 'waves.yaml'), PLAN.replace('waves:', 'condition: vents-closed\nwaves:'));
    begin('three.suit');
    steer();
    const waits = expect.objectContaining({ event: 'waiting', condition: 'vents-closed' });
    expect(agents().events).toContainEqual(waits);
    expect(agents('true', '--ready false').events).toContainEqual(waits);
    expect(versions()[0]).toBe('1.0.0');
    writeFileSync(bench.path('WS', 'ready'), '#!/bin/sh\ntest "$FIELDSEAL_CONDITION" = vents-closed\n', {
      mode: 0o755,
    });
    agents('true', '--ready ./ready');
    expect(versions().slice(0, 2)).toEqual(['1.2.0', '1.2.0']);
  });

  it('the way back from a bad release is the earlier one under a higher number, wave by wave', () => {
    order('halt', '1.2.0 drops the night setpoint', '--depot depot');
    writeFileSync(bench.path('WS', 'waves.yaml'), PLAN);
    const again = bench.ok('broadcast reissue one.bin --release vent/1 --out again.suit --json', WS).json;
    expect(again).toMatchObject({ version: '1.0.0', sequence_number: 4, reissue_of: 'vent/1' });
    begin('again.suit');
    until(({ state }) => state === 'done');
    expect(versions()).toEqual(['1.0.0', '1.0.0', '1.0.0', '1.0.0', '1.0.0']);
  });

  it('where releases need approval, the way back is asked for, approved, and then sealed', () => {
    const path = bench.path('WS', 'classes', 'vent.yaml');
    const before = readFileSync(path, 'utf8');
    writeFileSync(path, `${before}approvals: 1\n`);
    twoPeople(bench, 'WS');
    const line = 'broadcast reissue one.bin --release vent/1';
    expect(bench.ok(line, { ...WS, status: 2 }).stderr).toContain('--requester NAME');
    const { request } = bench.ok(`${line} --requester ada --json`, WS).json;
    bench.ok(`approve ${request} --approver bela`, WS);
    bench.ok(`seal one.bin --request ${request} --out approved.suit`, WS);
    writeFileSync(path, before);
  });

  it('over a stepping stone a unit takes that first, keeps it, and then the release', () => {
    for (const [nth, name] of ['four', 'five'].entries()) {
      writeFileSync(bench.path('WS', `${name}.bin`), cortexImage(20_000, 0x70 + nth));
      bench.ok(`seal ${name}.bin --class vent --version 1.${nth + 4}.0 --out ${name}.suit`, WS);
    }
    const stone = bench.ok('counter show vent --json', WS).json.last - 1;
    writeFileSync(
      bench.path('WS', 'waves.yaml'),
      PLAN.replace('waves:', `stepping_stones: [${stone}]\nwaves:`),
    );
    const line = 'broadcast begin vent five.suit --plan waves.yaml --depot depot';
    expect(bench.ok(line, { ...WS, status: 2 }).stderr).toContain(`release ${stone} as a stepping stone`);
    begin('five.suit', '--stepping-stone four.suit');
    steer();
    agents();
    expect(versions().slice(0, 3)).toEqual(['1.4.0', '1.4.0', '1.0.0']);
    agents();
    expect(versions().slice(0, 3)).toEqual(['1.5.0', '1.5.0', '1.0.0']);
    until(({ state }) => state === 'done');
    expect(versions()).toEqual(['1.5.0', '1.5.0', '1.5.0', '1.5.0', '1.5.0']);
  });

  it('who looks at the depot finds one announcement, and no part of one', () => {
    expect(readdirSync(bench.path('WS', 'depot', 'a'))).toHaveLength(1);
  });
});

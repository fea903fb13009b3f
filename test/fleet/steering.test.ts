/** Steering over the real store, a real workspace and a real depot: what is opened, announced, stopped and recorded. */
import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { afterEach, describe, expect, it, vi } from 'vitest';
import { announcementNames, Holding, inReach } from '../../src/broadcast/index.ts';
import { toHex } from '../../src/bytes/index.ts';
import { broadcastJson, type FleetStore, halt, pause, resume } from '../../src/fleet/index.ts';
import { courseFrom, offersOf } from '../../src/fleet/waves/course/course.ts';
import { steeringLease } from '../../src/fleet/waves/steer/lease.ts';
import type { SteeringPorts } from '../../src/fleet/waves/steer/steering.ts';
import { announcementCounter, keyPaths, readLedger, takeNumber } from '../../src/workspace/index.ts';
import { secrets } from '../release/secrets.ts';
import { PLAN_YAML } from './plans.ts';
import {
  announced,
  begun,
  depotCopy,
  type Field,
  field,
  report,
  standing,
  steering,
  unitsOf,
} from './steering-setup.ts';

let at: Field;
afterEach(async () => {
  await at?.store.close();
  rmSync(dirname(at.storePath), { recursive: true, force: true });
});

const PILOT = [1, 2, 3];
const order = async (why: string) => ({
  store: at.store,
  broadcast: (await standing(at)).broadcast,
  who: 'ada',
  why,
  now: at.workspace.now(),
});
const classId = () => toHex(at.vent.classId);
/** The store, with another way to renew a lease. */
const renewingBy = (renew: FleetStore['renew']) =>
  new Proxy(at.store, {
    get(target, name: keyof FleetStore) {
      return name === 'renew' ? renew : (target[name] as () => unknown).bind(target);
    },
  });
/** The keys of the workspace, whose passphrase comes only once `before` is over. */
const keysAfter =
  (before: () => Promise<void>): SteeringPorts['accessTo'] =>
  (name) => ({
    file: keyPaths(at.workspace, name).secret,
    secrets: {
      pin: secrets.pin,
      async passphrase(request) {
        await before();
        return secrets.passphrase(request);
      },
    },
    production: false,
  });
const reached = () => {
  const said = announced(at)!;
  return Array.from({ length: 40 }, (_, i) => i + 1).filter((nth) => inReach(said.reach, at.device(nth)));
};
const steps = () =>
  readLedger(at.workspace)
    .filter(({ kind }) => kind === 'broadcast-step')
    .map(({ facts }) => facts.step);

describe('a broadcast that goes well', () => {
  it('is announced to the pilot, then to larger shares, each after the soak of the one before; then it is done', async () => {
    at = await field();
    await begun(at);
    expect(announced(at)).toBeUndefined();
    const steer = steering(at);
    await steer.look();
    expect(announced(at)).toMatchObject({ wave: 'pilot', reach: { kind: 'units' } });
    expect(reached()).toEqual(PILOT);
    await report(at, 'success', PILOT);
    await steer.look();
    at.clock.hours = 47;
    await steer.look();
    expect(announced(at)!.wave).toBe('pilot');
    at.clock.hours = 48;
    await steer.look();
    const first = await unitsOf(at, 2);
    expect(announced(at)!.wave).toBe('first');
    expect(reached()).toEqual([...new Set([...PILOT, ...first])].sort((a, b) => a - b));
    await report(at, 'success', first);
    await steer.look();
    at.clock.hours = 100;
    await steer.look();
    expect(announced(at)!.wave).toBe('everyone');
    expect(reached()).toHaveLength(40);
    await report(at, 'success', await unitsOf(at, 3));
    await steer.look();
    const { broadcast } = await standing(at);
    expect(broadcast.state).toBe('done');
    expect(broadcast.why).toContain('40 of 40 units (1000 of a thousand) kept the release');
    expect(steps()).toEqual([
      'broadcast-planned',
      'broadcast-running',
      ...['wave-open', 'wave-soaking', 'wave-passed', 'wave-open', 'wave-soaking', 'wave-passed'],
      ...['wave-open', 'wave-soaking', 'wave-passed', 'broadcast-done'],
    ]);
  });

  it('is not announced twice: another look with nothing new says nothing', async () => {
    at = await field();
    await begun(at);
    const steer = steering(at);
    const first = await steer.look();
    expect(first).toMatchObject({ at: 'steered', announced: { counter: '1' } });
    expect(await steer.look()).toMatchObject({ announced: undefined });
    await steer.close();
    expect(await steering(at, 'two').look()).toMatchObject({ at: 'steered', announced: undefined });
  });

  it('renews an announcement at half of its time, so that units that sleep long still hear of it', async () => {
    at = await field(40, PLAN_YAML.replace('announced_for: 14 d', 'announced_for: 2 d'));
    await begun(at);
    const steer = steering(at);
    await steer.look();
    at.clock.hours = 23;
    expect(await steer.look()).toMatchObject({ announced: undefined });
    at.clock.hours = 25;
    expect(await steer.look()).toMatchObject({ announced: { counter: '2' } });
    expect(announced(at)).toMatchObject({ wave: 'pilot', counter: 2n });
  });

  it('of a symmetric class is announced under each key that its units hold, and each is looked after', async () => {
    at = await field(40, PLAN_YAML, 'dosing');
    await begun(at);
    const steer = steering(at);
    await steer.look();
    const names = announcementNames(at.workspace, at.vent);
    expect(names).toHaveLength(2);
    const said = () => names.map((name) => at.depot.announced(name)?.announcement.counter);
    expect(said()).toEqual([1n, 1n]);
    expect(await steer.look()).toMatchObject({ announced: undefined });
    rmSync(join(at.depot.folder, 'a', names[1]!));
    await steer.look();
    expect(said()).toEqual([2n, 2n]);
  });

  it('stays open for late units after its end: still announced, and stopped where they fall back', async () => {
    at = await field(40, PLAN_YAML.replace('success: 900', 'success: 500'));
    await begun(at);
    const steer = steering(at);
    await steer.look();
    await report(at, 'success', PILOT);
    for (const hours of [1, 50, 51, 80, 81]) {
      at.clock.hours = hours;
      await steer.look();
      if (hours === 50) await report(at, 'success', await unitsOf(at, 2));
    }
    const shown = async () =>
      (await broadcastJson(
        at.store,
        at.vent,
        (
          await standing(at)
        ).broadcast,
        at.workspace.now(),
      )) as unknown as {
        waves: { late: number }[];
      };
    const everyone = await unitsOf(at, 3);
    expect((await shown()).waves.map(({ late }) => late)).toEqual([0, 0, 0]);
    const [late, ...others] = everyone;
    await report(at, 'success', others.slice(0, 30));
    await steer.look();
    expect((await standing(at)).broadcast.state).toBe('done');
    const missing = everyone.length - others.slice(0, 30).length;
    expect((await shown()).waves.map((wave) => wave.late)).toEqual([0, 0, missing]);
    at.clock.hours = 2 * 365 * 24;
    expect(await steer.look()).toMatchObject({ announced: { counter: expect.any(String) } });
    expect(announced(at)!.offer).not.toBeNull();
    await report(at, 'fell-back', [late!]);
    await steer.look();
    expect((await standing(at)).broadcast).toMatchObject({
      state: 'paused',
      why: expect.stringContaining('fell back'),
    });
    expect(announced(at)!.offer).toBeNull();
    // Stopped, the wave is no longer one that passed.
    expect((await shown()).waves[2]).toMatchObject({ state: 'stopped', late: 0, reached: missing - 1 });
  });
});

describe('a broadcast that goes badly', () => {
  it('stops at the pilot by rule, says why with the figures, takes the offer back, and opens nothing more', async () => {
    at = await field();
    await begun(at);
    const steer = steering(at);
    await steer.look();
    await report(at, 'success', [1, 2]);
    await report(at, 'fell-back', [3]);
    await steer.look();
    const why =
      'wave pilot: 1 of 3 units (333 of a thousand) that answered fell back; the plan stops at more than 10 of a thousand and at least 1';
    const { broadcast, waves } = await standing(at);
    expect(broadcast).toMatchObject({ state: 'paused', why });
    expect(waves.map(({ state }) => state)).toEqual(['stopped', 'planned', 'planned']);
    expect(announced(at)).toMatchObject({ offer: null, reach: { kind: 'units', units: [] } });
    at.clock.hours = 5000;
    await steer.look();
    expect((await standing(at)).waves[1]!.state).toBe('planned');
    const entry = readLedger(at.workspace).findLast(({ facts }) => facts.step === 'broadcast-paused');
    expect(entry!.facts).toMatchObject({ class: 'vent', says: `paused: ${why}`, manifest_digest: at.digest });
    const shown = await broadcastJson(at.store, at.vent, broadcast, at.workspace.now());
    expect(shown).toMatchObject({ state: 'paused', why, waves: [{ fell_back: 1, kept: 2 }, {}, {}] });
  });

  it('goes on once somebody resumes it: what was known stops it no more, the next fall-back does', async () => {
    at = await field();
    await begun(at);
    const steer = steering(at);
    await steer.look();
    await report(at, 'fell-back', [3]);
    await steer.look();
    await resume(await order('unit 0003 had a broken sensor'));
    await steer.look();
    expect((await standing(at)).waves[0]).toMatchObject({ state: 'open', known: { fellBack: 1 } });
    expect(announced(at)!.offer).not.toBeNull();
    await report(at, 'fell-back', [2]);
    await steer.look();
    expect((await standing(at)).broadcast.why).toContain('beside 1 that were known');
  });

  it('paused and resumed by a person, it goes on where it was', async () => {
    at = await field();
    await begun(at);
    const steer = steering(at);
    await steer.look();
    await pause(await order('storm'));
    await steer.look();
    expect(announced(at)!.offer).toBeNull();
    await resume(await order('the storm is over'));
    await steer.look();
    expect(announced(at)!.offer).not.toBeNull();
    expect((await standing(at)).waves.map(({ state }) => state)).toEqual(['open', 'planned', 'planned']);
  });

  it('halted, it offers nothing, and cannot be resumed', async () => {
    at = await field();
    await begun(at);
    const steer = steering(at);
    await steer.look();
    await halt(await order('drops the night setpoint'));
    await steer.look();
    expect(announced(at)!.offer).toBeNull();
    await expect(order('no').then(resume)).rejects.toThrow('halted');
    expect(steps().at(-1)).toBe('broadcast-halted');
  });
});

describe('several who would steer', () => {
  it('only the one that holds the lease does; the other is told who', async () => {
    at = await field();
    await begun(at);
    await steering(at, 'one').look();
    expect(await steering(at, 'two').look()).toEqual({ at: 'another', holder: 'one' });
  });

  it('a number that was taken and never heard of is passed by a higher one: its owner, if it wakes, comes too late', async () => {
    at = await field();
    await begun(at);
    const steer = steering(at);
    await steer.look();
    const old = depotCopy(at);
    await halt(await order('no'));
    await steer.look();
    const { counter } = announced(at)!;
    old.back();
    await steer.look();
    expect(announced(at)).toMatchObject({ offer: null, counter: counter + 1n });
  });

  it('a number that was taken and never heard of is passed, though the depot says what is wanted', async () => {
    at = await field();
    await begun(at);
    const steer = steering(at);
    await steer.look();
    const { counter, offer } = announced(at)!;
    const taken = takeNumber(at.workspace, { ...at.vent, name: announcementCounter(at.vent.name) });
    expect(taken.number).toBe(counter + 1n);
    await steer.look();
    expect(announced(at)).toMatchObject({ offer, counter: counter + 2n });
  });

  it('halted between the decision and its number, nothing is offered', async () => {
    at = await field();
    await begun(at);
    let halted = false;
    const store = renewingBy(async (...given) => {
      if (!halted) {
        halted = true;
        await halt(await order('no'));
      }
      return at.store.renew(...given);
    });
    await steering(at, 'one', { store }).look();
    expect(halted).toBe(true);
    expect(announced(at)?.offer ?? null).toBeNull();
    const told = (await at.store.events()).filter(({ kind }) => kind === 'announcing');
    expect(told.map(({ text }) => text)).toEqual(['announcement 2, wave pilot']);
    expect(announced(at)).toMatchObject({ counter: 2n, offer: null });
  });

  it('its lease is renewed while a look is under way, so that one that takes long is not overtaken', async () => {
    at = await field();
    await begun(at);
    const until = async () => (await at.store.holderOf(steeringLease(classId())))!.until.getTime();
    const accessTo = keysAfter(async () => {
      const before = await until();
      await vi.waitFor(async () => expect(await until()).toBeGreaterThan(before), 60_000);
    });
    const look = await steering(at, 'one', { leaseSeconds: 6, accessTo }).look();
    expect(look).toMatchObject({ at: 'steered', announced: { counter: '1' } });
  });

  it('a broker that never answers keeps nobody else from steering', async () => {
    at = await field();
    await begun(at);
    await new Promise<void>((asked) => {
      const publish = () => {
        asked();
        return new Promise<void>(() => {});
      };
      void steering(at, 'one', { leaseSeconds: 1, herald: { publish, close: async () => {} } }).look();
    });
    await vi.waitFor(async () => expect((await steering(at, 'two').look()).at).toBe('steered'), 60_000);
  });

  it('what a killed process left between store, announcement and ledger is made good by the next', async () => {
    at = await field();
    await begun(at);
    const steer = steering(at);
    await steer.look();
    await report(at, 'success', PILOT);
    await steer.look();
    at.clock.hours = 48;
    // Opened in the store, and killed before anything was announced or recorded.
    const { broadcast } = await standing(at);
    const change = { broadcast: broadcast.id, who: 'one', why: 'killed here' };
    const passed = { ...change, number: 1, state: 'passed', expectedRevision: broadcast.revision } as const;
    await at.store.setWaveState(passed);
    await at.store.setWaveState({
      ...passed,
      number: 2,
      state: 'open',
      expectedRevision: broadcast.revision + 1,
    });
    await steer.close();
    await steering(at, 'two').look();
    expect(announced(at)!.wave).toBe('first');
    expect(steps().filter((step) => step === 'wave-open')).toHaveLength(2);
  });

  it('one that is held up over its signature, while somebody halts it elsewhere, offers nothing afterwards', async () => {
    at = await field();
    await begun(at);
    // The first asks for its passphrase, and gets it only once its lease has lapsed and the second has taken the offer back. A
    // machine that stands still renews nothing.
    let still = false;
    const store = renewingBy(async (...given) => (still ? undefined : at.store.renew(...given)));
    const accessTo = keysAfter(async () => {
      still = true;
      await vi.waitFor(
        async () => expect(await at.store.holderOf(steeringLease(classId()))).toBeUndefined(),
        60_000,
      );
      await halt(await order('no'));
      await steering(at, 'two').look();
      expect(announced(at)).toMatchObject({ offer: null, counter: 2n });
      still = false;
    });
    const late = steering(at, 'one', { store, leaseSeconds: 1, accessTo });
    expect(await late.look()).toEqual({ at: 'another', holder: 'two' });
    expect(announced(at)).toMatchObject({ offer: null, counter: 2n });
  });

  it('killed after the ledger and before the depot, the wave is announced by the next, under a higher number', async () => {
    at = await field();
    await begun(at);
    const { depot } = at;
    const dying = Object.assign(Object.create(depot), {
      announce() {
        throw new Error('killed here');
      },
    });
    const steer = steering(at, 'one', { depot: dying });
    await expect(steer.look()).rejects.toThrow('killed here');
    expect(announced(at)).toBeUndefined();
    await steer.close();
    await steering(at, 'two').look();
    expect(announced(at)).toMatchObject({ wave: 'pilot', counter: 2n });
    expect(steps().filter((step) => step === 'wave-open')).toHaveLength(1);
  });

  it('killed between the depot and the broker, the next publishes the same bytes once more', async () => {
    at = await field();
    await begun(at);
    const published: Uint8Array[] = [];
    const herald = {
      publish: async (_: string, message: Uint8Array) => void published.push(message),
      close: async () => {},
    };
    const steer = steering(at);
    await steer.look();
    await steer.close();
    const next = steering(at, 'two', { herald });
    await next.look();
    await next.look();
    const [name] = announcementNames(at.workspace, at.vent);
    expect(published).toEqual([at.depot.announced(name!)!.message]);
  });

  it('a broker that is gone keeps no stop from being announced; it hears of it once it is back', async () => {
    at = await field();
    await begun(at);
    let gone = true;
    const published: bigint[] = [];
    const herald = {
      async publish() {
        if (gone)
          throw Object.assign(new Error('the broker cannot be reached'), { code: 'broadcast-broker' });
        published.push(announced(at)!.counter);
      },
      close: async () => {},
    };
    const steer = steering(at, 'one', { herald });
    expect(await steer.look()).toMatchObject({ unpublished: 'the broker cannot be reached' });
    await report(at, 'fell-back', [3]);
    expect(await steer.look()).toMatchObject({
      announced: { counter: '2' },
      unpublished: expect.any(String),
    });
    expect(announced(at)!.offer).toBeNull();
    gone = false;
    expect(await steer.look()).toMatchObject({ announced: undefined, unpublished: undefined });
    await steer.look();
    expect(published).toEqual([2n]);
  });
});

describe('a depot that does not hold what is offered', () => {
  const file = () => join(at.depot.folder, at.depot.put(at.envelope).uri);
  /** Another byte in the middle, in a file of the same length. */
  const damage = (path: string) => {
    const bytes = readFileSync(path);
    bytes[bytes.length >> 1]! ^= 1;
    writeFileSync(path, bytes);
  };
  const waveStates = async () => (await standing(at)).waves.map(({ state }) => state);

  it('opens no wave and is announced nothing in, whether the file is gone or damaged; once it is back, the pilot opens', async () => {
    at = await field();
    await begun(at);
    const steer = steering(at);
    for (const [harm, says] of [
      [(path: string) => rmSync(path), 'is not there'],
      [damage, 'changed or damaged'],
    ] as const) {
      harm(file());
      expect(await steer.look()).toMatchObject({
        at: 'steered',
        decisions: [{ do: 'wait', why: expect.stringContaining('the depot does not hold what is offered') }],
        announced: undefined,
        lacking: { code: 'broadcast-depot', status: 3, message: expect.stringContaining(says) },
      });
      expect(announced(at)).toBeUndefined();
    }
    expect(await waveStates()).toEqual(['planned', 'planned', 'planned']);
    at.depot.put(at.envelope);
    expect(await steer.look()).toMatchObject({ announced: { counter: '1' }, lacking: undefined });
  });

  it('has the offer taken back where it was announced, so that no unit fetches in vain again and again, and given again', async () => {
    at = await field();
    await begun(at);
    const steer = steering(at);
    await steer.look();
    expect(announced(at)!.offer).not.toBeNull();
    damage(file());
    expect(await steer.look()).toMatchObject({ announced: { counter: '2' }, lacking: expect.any(Error) });
    expect(announced(at)!.offer).toBeNull();
    expect(await steer.look()).toMatchObject({ announced: undefined, lacking: expect.any(Error) });
    expect(await waveStates()).toEqual(['open', 'planned', 'planned']);
    at.depot.put(at.envelope);
    expect(await steer.look()).toMatchObject({ announced: { counter: '3' }, lacking: undefined });
    expect(announced(at)!.offer).not.toBeNull();
  });

  it('keeps no rule from stopping, and no offer from being taken back', async () => {
    at = await field();
    await begun(at);
    const steer = steering(at);
    await steer.look();
    await report(at, 'fell-back', [3]);
    rmSync(file());
    expect(await steer.look()).toMatchObject({ state: 'paused', announced: { counter: '2' } });
    expect(await waveStates()).toEqual(['stopped', 'planned', 'planned']);
    expect(announced(at)!.offer).toBeNull();
  });

  it('is read again before each wave, also where nothing tells that the file was changed', async () => {
    at = await field();
    await begun(at);
    // A disk that lost a byte changes no time of its file.
    const depot = Object.assign(Object.create(at.depot), { mark: () => 'always the same' });
    const steer = steering(at, 'one', { depot });
    await steer.look();
    await report(at, 'success', PILOT);
    await steer.look();
    damage(file());
    expect(await steer.look()).toMatchObject({ lacking: undefined });
    at.clock.hours = 48;
    expect(await steer.look()).toMatchObject({ lacking: { code: 'broadcast-depot' } });
    expect(await waveStates()).toEqual(['passed', 'planned', 'planned']);
  });

  it('counts the stepping stones, too', async () => {
    at = await field();
    const { broadcast } = await begun(at);
    const course = courseFrom(broadcast.plan);
    const stone = { ...course.offer, envelope: { ...course.offer.envelope, uri: 'p/00' } };
    expect(await new Holding(at.depot).fault(offersOf({ ...course, steppingStones: [stone] }))).toMatchObject(
      { message: expect.stringContaining('(p/00)') },
    );
  });
});

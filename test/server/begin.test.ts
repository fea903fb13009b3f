/** A broadcast planned and begun at the desk: judged before anything happens, begun by who may, and refused with nothing begun. */
import { createHash } from 'node:crypto';
import { existsSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { seal } from '../../src/release/index.ts';
import { Accounts } from '../../src/server/index.ts';
import { addClass } from '../../src/workspace/index.ts';
import { firmware, request } from '../release/setup.ts';
import { AtBegin, PLAN, UNITS } from './at-begin.ts';
import { OWN } from './opened.ts';

let at: AtBegin;
afterEach(() => at.close());

describe('a plan of waves', () => {
  beforeEach(async () => {
    at = await AtBegin.open();
  });

  it('begins as the command line writes it, with a unit of each hardware revision in its pilot', async () => {
    const { plan, depot } = await at.json('/broadcasts/drafts', { class: 'vent' });
    expect(plan).toMatch(/serials:\n {6}- "0001" {2}# A\n {6}- "0031" {2}# B\n/);
    expect(depot).toBe(join(at.folder, 'depot'));
    const judged = await at.json('/broadcasts/judgements', { class: 'vent', plan });
    expect(judged).toMatchObject({ units: UNITS, in_no_wave: 0, refused: null });
    expect(judged.waves[0]).toEqual({ name: 'pilot', units: 2, share: null });
  });

  it('is judged against the fleet: what each wave holds, what the pilot lacks, who is in no wave', async () => {
    const plan = PLAN.replace('"0002"', '"none-such"').split('  - name: everyone')[0]!;
    const judged = await at.json('/broadcasts/judgements', { class: 'vent', plan });
    expect(judged).toMatchObject({
      units: UNITS,
      unpiloted_hardware: ['B'],
      not_in_fleet: ['none-such'],
      stepping_stones: [],
      refused: { code: 'waves-pilot-hardware' },
    });
    expect(judged.waves[0].units).toBe(2);
    expect(judged.waves[1].units + judged.in_no_wave).toBe(UNITS - 2);
    expect(await at.untouched()).toBe(true);
    const onPurpose = `unpiloted_hardware: ["B"]\n${plan}`;
    const allowed = await at.json('/broadcasts/judgements', { class: 'vent', plan: onPurpose });
    expect(allowed).toMatchObject({ unpiloted_hardware: [], refused: null });
  });

  it('that is none is told mistake by mistake, each at its line', async () => {
    const plan = PLAN.replace('silence: 3 d', 'silence: soon').replace('share: 400', 'share: 0');
    for (const path of ['/broadcasts/judgements', '/broadcasts']) {
      const more = path === '/broadcasts' ? { file: await at.bring('vent.suit'), confirm: 'vent' } : {};
      const answer = await at.post(path, { class: 'vent', plan, ...more });
      expect(answer.status).toBe(422);
      const { error } = (await answer.json()) as { error: { code: string; mistakes: object[] } };
      expect(error.code).toBe('file-invalid');
      expect(error.mistakes).toMatchObject([
        { line: 3, column: 10, field: 'silence', found: 'the text soon' },
        { line: 17, field: 'waves[1].share', expected: 'a whole number from 1 to 1000' },
      ]);
    }
    const { error } = await at.json('/broadcasts/judgements', { class: 'vent', plan: 'format: [' });
    expect(error.mistakes[0]).toMatchObject({ line: 1 });
    expect(await at.untouched()).toBe(true);
  });

  it('is judged with what is to be sent by it, as beginning does: release, missing image, missing stepping stone, strangers', async () => {
    const whole = `unpiloted_hardware: ["B"]\n${PLAN}`;
    const judged = async (more: object, plan = whole) =>
      at.json('/broadcasts/judgements', { class: 'vent', plan, ...more });
    expect(await judged({})).toMatchObject({ release: null, refused: null, cautions: [] });
    const file = await at.bring('vent.suit');
    const sealed = JSON.parse(readFileSync(join(at.folder, 'ws', 'releases', 'vent', '1.json'), 'utf8'));
    expect(await judged({ file })).toMatchObject({
      release: { sequence_number: '1', manifest_digest: sealed.manifest_digest },
      refused: null,
      cautions: [],
    });
    await seal(request(at, { detached: true, version: '1.5.0', out: join(at.folder, 'beside.suit') }));
    const beside = await at.bring('beside.suit');
    expect(await judged({ file: beside })).toMatchObject({
      release: null,
      refused: { code: 'broadcast-image', message: expect.stringContaining('no image is given') },
    });
    const images = [await at.bring('vent.bin')];
    expect(await judged({ file: beside, images })).toMatchObject({ refused: null });
    const stones = `stepping_stones: [1]\n${whole}`;
    expect(await judged({ file: beside, images }, stones)).toMatchObject({
      stepping_stones: [1],
      refused: { code: 'waves-stepping-stone' },
    });
    const all = { file: beside, images, stepping_stones: [file] };
    expect(await judged(all, stones)).toMatchObject({ release: { sequence_number: '2' }, refused: null });
    expect(await judged({ file: await at.bring('vent.bin') })).toMatchObject({
      refused: { code: 'broadcast-envelope' },
    });
    expect(await judged({ file: 'A'.repeat(43) })).toMatchObject({ error: { code: 'not-there' } });
    expect(await at.untouched()).toBe(true);
    expect(existsSync(join(at.folder, 'depot'))).toBe(false);
  });

  it('and begun, an envelope in clear is cautioned of where the class hides messages', async () => {
    const yaml = join(at.folder, 'ws', 'classes', 'vent.yaml');
    const text = readFileSync(yaml, 'utf8');
    writeFileSync(yaml, text.replace(/^confidentiality: .*/m, 'confidentiality: message'));
    const plan = `unpiloted_hardware: ["B"]\n${PLAN}`;
    const clear = expect.stringMatching(
      /^class vent hides messages on the way, and this envelope goes in clear/,
    );
    const file = await at.bring('vent.suit');
    const judged = await at.json('/broadcasts/judgements', { class: 'vent', plan, file });
    expect(judged).toMatchObject({ refused: null, cautions: [clear] });
    const { result } = await at.begin({ plan });
    expect(result.cautions).toEqual([clear, expect.stringContaining('keep a recovery path')]);
  });

  it('for another class is not judged for this one', async () => {
    const { error } = await at.json('/broadcasts/judgements', { class: 'twin', plan: PLAN });
    expect(error).toMatchObject({ code: 'waves-plan-other-class' });
  });
});

describe('begun', () => {
  const whole = `unpiloted_hardware: ["B"]\n${PLAN}`;
  beforeEach(async () => {
    at = await AtBegin.open();
  });

  it('puts the envelope into the depot and units into waves, and announces nothing', async () => {
    const { result } = await at.begin({ plan: whole });
    expect(result).toMatchObject({ broadcast: 1, class: 'vent', state: 'running', steered_by: null });
    expect(result.waves.map(({ state }: { state: string }) => state)).toEqual(Array(3).fill('planned'));
    expect(result.waves[0].units).toBe(3);
    const envelope = readFileSync(join(at.folder, 'vent.suit'));
    const name = createHash('sha256').update(envelope).digest('hex');
    expect(readFileSync(join(at.folder, 'depot', 'p', name))).toEqual(envelope);
    expect(existsSync(join(at.folder, 'depot', 'a'))).toBe(false);
    const [event] = await at.store.events({ broadcast: 1, withoutUnits: true, newestFirst: true, limit: 1 });
    expect(event).toMatchObject({ who: 'this machine' });
    const view = await at.opened.ask('/api/v1/broadcasts/1', { headers: at.headers });
    expect(await view.json()).toMatchObject({ depot: join(at.folder, 'depot') });
  });

  it('is not begun beside another that is under way', async () => {
    await at.begin({ plan: whole });
    expect((await at.begin({ plan: whole })).error).toMatchObject({
      code: 'fleet-broadcast-under-way',
      message: expect.stringContaining('broadcast 1 of this class is running'),
    });
    expect(await at.store.broadcasts()).toHaveLength(1);
  });

  it('a detached payload needs its image, and a stranger beside it is told by its name', async () => {
    await seal(request(at, { detached: true, version: '1.5.0', out: join(at.folder, 'beside.suit') }));
    const file = await at.bring('beside.suit');
    expect((await at.begin({ plan: whole, file })).error).toMatchObject({ code: 'broadcast-image' });
    const stranger = await at.bring('other.bin', firmware(6000, 9));
    expect((await at.begin({ plan: whole, file, images: [stranger] })).error).toMatchObject({
      code: 'broadcast-image',
      message: expect.stringMatching(/^other\.bin is not an image of that release/),
    });
    expect(await at.untouched()).toBe(true);
    const image = await at.bring('vent.bin');
    expect((await at.begin({ plan: whole, file, images: [image] })).result).toMatchObject({ broadcast: 1 });
  });

  it('stepping stones are those that the plan names', async () => {
    await seal(request(at, { version: '1.5.0', out: join(at.folder, 'next.suit') }));
    const file = await at.bring('next.suit');
    const plan = `stepping_stones: [1]\n${whole}`;
    const judged = await at.json('/broadcasts/judgements', { class: 'vent', plan });
    expect(judged.stepping_stones).toEqual([1]);
    expect((await at.begin({ plan, file })).error).toMatchObject({
      code: 'waves-stepping-stone',
      message: 'the plan names release 1 as a stepping stone, and its envelope is not given',
    });
    const stone = await at.bring('vent.suit');
    const { result } = await at.begin({ plan, file, stepping_stones: [stone] });
    expect(result).toMatchObject({ stepping_stones: ['1'] });
  });
});

describe('refused, with nothing begun', () => {
  beforeEach(async () => {
    at = await AtBegin.open();
  });
  afterEach(async () => {
    expect(at.opened.faults).toEqual([]);
    expect(await at.untouched()).toBe(true);
  });

  it('a pilot that holds nobody, or lacks a hardware revision', async () => {
    const plan = PLAN.replace('"0001", "0002", "0003"', '"9001"');
    expect((await at.begin({ plan })).error).toMatchObject({ code: 'waves-pilot-empty' });
    expect((await at.begin()).error).toMatchObject({
      code: 'waves-pilot-hardware',
      message: expect.stringContaining('hardware revision B'),
    });
  });

  it('an envelope of another class', async () => {
    await addClass(at.workspace, { name: 'pump', model: 'PU-1', scheme: 'asymmetric' });
    await seal(request(at, { className: 'pump', out: join(at.folder, 'pump.suit') }));
    expect((await at.begin({ file: await at.bring('pump.suit') })).error).toMatchObject({
      code: 'broadcast-envelope',
      message: expect.stringMatching(/^pump\.suit is not on record as sealed for class vent/),
    });
  });

  it('a file that is no envelope', async () => {
    expect((await at.begin({ file: await at.bring('vent.bin') })).error).toMatchObject({
      code: 'broadcast-envelope',
      message: expect.stringMatching(/^vent\.bin is no envelope that a unit could read/),
    });
    expect((await at.begin({ file: await at.bring('none.suit', Buffer.alloc(0)) })).error).toMatchObject({
      code: 'broadcast-envelope',
    });
  });

  it('a file that is not at this desk, and a plan for another class', async () => {
    expect(await at.begin({ file: 'A'.repeat(43) })).toMatchObject({
      status: 404,
      error: { code: 'not-there' },
    });
    const plan = PLAN.replace('class: vent', 'class: twin');
    expect((await at.begin({ plan })).error).toMatchObject({ code: 'waves-plan-other-class' });
  });

  it('what was not confirmed with the name of its class', async () => {
    for (const confirm of ['', 'twin', 'VENT'])
      expect(await at.begin({ confirm })).toMatchObject({ status: 400, error: { code: 'request-wrong' } });
  });

  it('a request that names a folder', async () => {
    const { status, error } = await at.begin({ depot: '/srv/other' });
    expect([status, error?.code]).toEqual([400, 'request-wrong']);
  });

  it('a role without the right, and a page of another site', async () => {
    const accounts = new Accounts(at.workspace);
    for (const role of ['reader', 'approver', 'requester'] as const) {
      const token = accounts.addProgram(`a-${role}`, role);
      for (const path of ['/broadcasts/drafts', '/broadcasts/judgements', '/broadcasts']) {
        const answer = await at.post(path, {}, { ...OWN, authorization: `Bearer ${token}` });
        expect([role, path, answer.status]).toEqual([role, path, 403]);
        expect(await answer.json()).toMatchObject({ error: { code: 'not-allowed' } });
      }
    }
    const { 'x-fieldseal-desk': _, ...unmarked } = at.headers;
    for (const path of ['/broadcasts/drafts', '/broadcasts/judgements', '/broadcasts']) {
      const answer = await at.post(path, {}, unmarked);
      expect([path, answer.status]).toEqual([path, 403]);
      expect(await answer.json()).toMatchObject({ error: { code: 'other-site' } });
    }
  });
});

it('a desk that was told of no depot begins nothing, and says how it is done', async () => {
  at = await AtBegin.open({ depot: false });
  expect((await at.json('/broadcasts/drafts', { class: 'vent' })).depot).toBe(null);
  expect(await at.begin()).toMatchObject({
    status: 409,
    error: { code: 'depot-unnamed', hint: expect.stringContaining('fieldseal serve --depot DIR') },
  });
  expect(await at.untouched()).toBe(true);
});

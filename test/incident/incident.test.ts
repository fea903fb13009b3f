import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { createCohortKey, createRoot, createSigner } from '../../src/authority/index.ts';
import { INCIDENT } from '../../src/cli/table/incident.ts';
import {
  closeIncident,
  DRILLS,
  exposureJson,
  exposureOf,
  INCIDENT_KINDS,
  listIncidents,
  markDone,
  openIncident,
  showIncident,
  writeIncidentFile,
} from '../../src/incident/index.ts';
import { makeTrustUpdate } from '../../src/release/index.ts';
import {
  addClass,
  appendEntry,
  initWorkspace,
  keyPaths,
  retireKey,
  type Workspace,
} from '../../src/workspace/index.ts';
import { secrets } from '../release/secrets.ts';

const nobody = { people: [], backups: [] };
const folder = mkdtempSync(join(tmpdir(), 'fieldseal-incident-'));
let now = new Date('2026-11-25T12:00:00Z');
let workspace: Workspace;

const place = (name: string) => ({ custody: 'file', path: keyPaths(workspace, name).secret }) as const;
const statesOf = (steps: readonly { step: { id: string }; state: string }[]) =>
  Object.fromEntries(steps.map(({ step, state }) => [step.id, state]));

async function signer(name: string, more: object = {}) {
  await createSigner(
    workspace,
    {
      name,
      type: 'p256',
      place: place(name),
      root: 'root',
      classes: [],
      vendorWide: true,
      days: 800,
      generation: 1,
      ...nobody,
      ...more,
    },
    secrets,
    { secrets },
  );
}

beforeAll(async () => {
  workspace = initWorkspace(join(folder, 'ws'), { vendorDomain: 'hollinridge.example', now: () => now });
  const vent = await addClass(workspace, { name: 'vent', model: 'VC-2', scheme: 'asymmetric' });
  const dosing = await addClass(workspace, {
    name: 'dosing',
    model: 'DC-1',
    scheme: 'symmetric',
    core: 'none',
  });
  await createRoot(workspace, { name: 'root', type: 'p256', place: place('root'), ...nobody }, secrets);
  await createRoot(
    workspace,
    { name: 'spare-root', spare: true, type: 'p256', place: place('spare-root'), ...nobody },
    secrets,
  );
  await signer('line-1', { classes: [vent], vendorWide: false });
  await signer('trust-1', { classes: [vent], vendorWide: false, signs: 'trust' });
  await createCohortKey(workspace, dosing, 'north', place, nobody, secrets);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('the table of incidents', () => {
  it('command line, responses and drills name the same kinds', () => {
    const names = INCIDENT_KINDS.map(({ name }) => name);
    const told = INCIDENT.find(({ name }) => name === 'incident open')!.args![0]!.about;
    expect(told.split(', ')).toEqual(names);
    expect(Object.keys(DRILLS).toSorted()).toEqual(names.toSorted());
  });

  it('each response names each step once, and says why', () => {
    for (const { steps, plainly } of INCIDENT_KINDS) {
      const ids = steps.map(({ id }) => id);
      expect(new Set(ids).size).toBe(ids.length);
      expect(plainly.length).toBeGreaterThan(20);
      for (const { why } of steps) expect(why.length).toBeGreaterThan(20);
    }
  });

  it.each(['signer-leak', 'root-leak', 'hss-doubt'])(
    '%s: a new signer before the trust update, that before the release (common practice)',
    (name) => {
      const ids = INCIDENT_KINDS.find((kind) => kind.name === name)!.steps.map(({ id }) => id);
      const order = ['new-signer', 'trust-update', 'send', 'reseal'].map((id) => ids.indexOf(id));
      expect(order).not.toContain(-1);
      expect(order).toEqual(order.toSorted((a, b) => a - b));
    },
  );

  it.each(['class-key-leak', 'cohort-key-leak'])('%s: says plainly that nothing repairs it', (name) => {
    expect(INCIDENT_KINDS.find((kind) => kind.name === name)!.plainly).toContain('CANNOT BE REPAIRED');
  });
});

describe('exposure', () => {
  it.each([
    ['root', 'root', 'root-leak', ['vent']],
    ['spare-root', 'spare root', undefined, ['vent']],
    ['line-1', 'signer', 'signer-leak', ['vent']],
    ['trust-1', 'trust signer', 'signer-leak', ['vent']],
    ['dosing.north', 'cohort key', 'cohort-key-leak', ['dosing']],
  ] as const)('%s is a %s', async (key, kind, incident, classes) => {
    const exposure = await exposureOf(workspace, key);
    expect(exposure.subject.kind).toBe(kind);
    expect(exposure.incident).toBe(incident);
    expect(exposure.subject.classes.map(({ name }) => name)).toEqual(classes);
    expect(exposure.forges.length).toBeGreaterThan(0);
    expect(exposure.beyondRepair.length).toBeGreaterThan(0);
    expect(exposureJson(exposure).format).toBe('fieldseal.exposure/1');
  });

  it('finds a key by its fingerprint, and says what it does not know', async () => {
    const { subject } = await exposureOf(workspace, 'line-1');
    expect((await exposureOf(workspace, subject.fingerprint)).subject.name).toBe('line-1');
    await expect(exposureOf(workspace, 'nobody')).rejects.toMatchObject({ code: 'key-unknown' });
    await expect(exposureOf(workspace, 'line-1', 'yesterday')).rejects.toMatchObject({ code: 'date-wrong' });
  });
});

describe('an incident', () => {
  it('needs the key, or the class, that its kind is about', async () => {
    await expect(openIncident(workspace, { kind: 'root-leak' })).rejects.toMatchObject({
      code: 'kind-needs-key',
    });
    await expect(openIncident(workspace, { kind: 'root-leak', key: 'line-1' })).rejects.toMatchObject({
      code: 'key-of-another-kind',
    });
    await expect(openIncident(workspace, { kind: 'bad-release' })).rejects.toMatchObject({
      code: 'kind-needs-key',
    });
  });

  it('checks steps off as the ledger shows them, and runs the clocks of 24 and 72 hours', async () => {
    const opened = await openIncident(workspace, { kind: 'signer-leak', key: 'line-1' });
    expect(opened.clocks.map(({ due }) => due)).toEqual([
      '2026-11-26T12:00:00.000Z',
      '2026-11-28T12:00:00.000Z',
      undefined,
    ]);
    expect(opened.clocks.some(({ overdue }) => overdue)).toBe(false);
    expect(statesOf(opened.steps)).toMatchObject({ retire: 'open', 'new-signer': 'open', reseal: 'open' });
    expect(opened.steps.find(({ step }) => step.id === 'retire')!.commands).toEqual([
      'fieldseal signer retire line-1 --reason leaked',
    ]);
    retireKey(workspace, 'line-1', 'signer', 'leaked');
    await signer('line-2', { generation: 2 });
    const request = {
      workspace,
      secrets,
      className: 'vent',
      retireRoots: [],
      out: join(folder, 'trust.suit'),
    };
    await makeTrustUpdate({ ...request, deny: ['line-1'] });
    appendEntry(workspace, 'sealed', { class: 'vent', sequence_number: '1' });
    now = new Date('2026-11-27T13:00:00Z');
    await markDone(workspace, '1', 'halt', 'waves stopped by Ada Brook');
    const later = await showIncident(workspace, '1');
    expect(statesOf(later.steps)).toMatchObject({
      halt: 'done',
      retire: 'done',
      'new-signer': 'done',
      'trust-update': 'done',
      reseal: 'done',
      send: 'open',
      revoke: 'open',
    });
    expect(later.clocks.map(({ overdue }) => overdue)).toEqual([true, false, false]);
    const sent = await markDone(workspace, '1', 'early-warning', 'sent by counsel');
    expect(sent.clocks[0]).toMatchObject({ overdue: false, sent: now.toISOString() });
    await expect(markDone(workspace, '1', 'halt', 'again')).rejects.toMatchObject({ code: 'step-done' });
    await expect(markDone(workspace, '1', 'dance', 'x')).rejects.toMatchObject({ code: 'step-unknown' });
  });

  it('its file is for people, and made anew from the ledger', async () => {
    const path = writeIncidentFile(workspace, await showIncident(workspace, '1'));
    const text = readFileSync(join(workspace.root, path), 'utf8');
    expect(text).toContain('- early warning (`early-warning`): due 2026-11-26T12:00:00.000Z, sent');
    expect(text).toContain('[x] **Retire the signer in this workspace**');
    expect(text).toContain('not legal advice');
  });

  it('is not closed while steps are open, unless somebody says why', async () => {
    await expect(closeIncident(workspace, '1', undefined)).rejects.toMatchObject({ code: 'steps-open' });
    expect((await closeIncident(workspace, '1', 'exercise')).closed).toBe(now.toISOString());
    await expect(markDone(workspace, '1', 'send', 'x')).rejects.toMatchObject({ code: 'step-done' });
    expect((await listIncidents(workspace)).map(({ id }) => id)).toEqual(['1']);
  });
});

describe('a trust update, when it is made', () => {
  const request = () => ({
    workspace,
    secrets,
    className: 'vent',
    deny: [],
    retireRoots: [],
    out: join(folder, 'x.suit'),
  });

  it('is refused where nobody would be left to believe', async () => {
    const all = makeTrustUpdate({ ...request(), deny: ['line-1', 'line-2'] });
    await expect(all).rejects.toMatchObject({ code: 'trust-locks-out' });
    await expect(makeTrustUpdate({ ...request(), minimumGeneration: 9 })).rejects.toMatchObject({
      code: 'trust-locks-out',
    });
  });

  it('is never signed by a signer of releases', async () => {
    await expect(makeTrustUpdate({ ...request(), deny: ['line-1'], signer: 'line-2' })).rejects.toMatchObject(
      {
        code: 'trust-signer-none',
      },
    );
  });

  it('retires a root only below the spare one', async () => {
    await expect(makeTrustUpdate({ ...request(), retireRoots: ['root'] })).rejects.toMatchObject({
      code: 'trust-unsound',
    });
  });

  it('says all that the last one said: nothing is taken back', async () => {
    const made = await makeTrustUpdate({ ...request(), minimumGeneration: 2, out: join(folder, 'y.suit') });
    expect(made.denied).toHaveLength(1);
    expect(made.number).toBe('2');
    await expect(makeTrustUpdate({ ...request(), minimumGeneration: 1 })).rejects.toMatchObject({
      code: 'trust-unsound',
    });
  });

  it('does not exist for the symmetric scheme', async () => {
    await expect(makeTrustUpdate({ ...request(), className: 'dosing' })).rejects.toMatchObject({
      code: 'trust-not-taken',
    });
  });
});

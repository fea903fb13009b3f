/**
 * Steps of a response that take a root or make a key, done from the desk: what opens a root is typed for one act, serves
 * nothing else and stays nowhere; what is refused leaves nothing behind, and is told at its field.
 */
import { execFileSync } from 'node:child_process';
import { userInfo } from 'node:os';
import { join } from 'node:path';
import { afterEach, describe, expect, it, vi } from 'vitest';
import { adoptRoot, createAuthority, createRoot } from '../../src/authority/index.ts';
import { Accounts } from '../../src/server/index.ts';
import {
  addClass,
  listKeys,
  readCertificates,
  readClass,
  readKey,
  readLedger,
  retireKey,
  rootStandings,
} from '../../src/workspace/index.ts';
import { fingerprintText, purposeOf, saysIssuedBy } from '../../src/x509/index.ts';
import { PASSPHRASE } from '../release/secrets.ts';
import { filePlace, makeSigner, prepared, secrets } from '../release/setup.ts';
import { AtIncident } from './at-incident.ts';

const NEW = 'seven lamps along the glass';
const WRONG = 'another passphrase altogether';
const nobody = { people: [], backups: [] };
const inFile = (name: string) => ({ name, key: { custody: 'file', passphrase: NEW } });
const root = { passphrase: PASSPHRASE };
let at: AtIncident;
afterEach(async () => {
  vi.restoreAllMocks();
  await at.close();
});

/** A leak of the only signer, line-1. */
async function signerLeak(): Promise<void> {
  const { folder } = await prepared();
  at = await AtIncident.open(join(folder, 'ws'), 'signer-leak', 'line-1');
}

/** A leak of the root, where there is a spare one. */
async function rootLeak(): Promise<void> {
  const { folder, workspace } = await prepared();
  const place = filePlace(workspace, 'spare-root');
  const spare = { name: 'spare-root', spare: true, type: 'p256', place, ...nobody } as const;
  await createRoot(workspace, spare, secrets);
  at = await AtIncident.open(join(folder, 'ws'), 'root-leak', 'root');
}

/** Nothing was done: no key more, no entry, and the refusal is told. */
async function refused(ended: ReturnType<AtIncident['act']>, entries: number, error: object): Promise<void> {
  const { told, error: found } = await ended;
  expect(found).toMatchObject(error);
  for (const secret of [PASSPHRASE, NEW, WRONG]) expect(told).not.toContain(secret);
  expect(await at.entries()).toBe(entries);
  expect(listKeys(await at.workspace()).some(({ name }) => name === 'line-10')).toBe(false);
  expect(at.opened.faults).toEqual([]);
}

describe('a new signer', () => {
  it('is just the one that the command of its step makes, and whoever did it stands in its ceremony record', async () => {
    await signerLeak();
    const { desk, commands } = await at.step('new-signer');
    expect(commands).toEqual([
      'fieldseal signer create NAME --class twin --class vent --root root --generation 2',
    ]);
    expect(desk.act).toMatchObject({
      confirm: 'root',
      root: { name: 'root', custody: 'file' },
      makes: { custodies: ['file', 'token'] },
    });
    const make = { ...inFile('line-10'), people: ['Ada Wren'], backups: ['safe 2'] };
    const { error, told } = await at.act('new-signer', { confirm: 'root', root, make });
    expect(error).toBeUndefined();
    const workspace = await at.workspace();
    const [certificate] = readCertificates(workspace, 'line-10');
    expect(certificate).toMatchObject({ generation: 2 });
    expect(certificate!.subjectAltUris).toHaveLength(2);
    expect(purposeOf(certificate!)).toBe('release');
    expect(saysIssuedBy(certificate!, readCertificates(workspace, 'root')[0]!)).toBe(true);
    const record = JSON.parse(workspace.files.readText(workspace.path('ceremonies', 'line-10.json')));
    const who = userInfo().username;
    expect(record).toMatchObject({ people: [who, 'Ada Wren'], backups: ['safe 2'] });
    expect(await at.step('new-signer')).toMatchObject({ state: 'done', because: 'line-10' });
    for (const secret of [PASSPHRASE, NEW]) {
      expect(told).not.toContain(secret);
      expect(at.filesWith(secret)).toEqual([]);
    }
    expect((await at.act('new-signer', { confirm: 'root', root, make: inFile('line-11') })).status).toBe(400);
  });

  it('is not made with a wrong passphrase of the root, a name that is taken or none, or unconfirmed', async () => {
    await signerLeak();
    const before = await at.entries();
    const asked = { confirm: 'root', root, make: inFile('line-10') };
    const wrong = { ...asked, root: { passphrase: WRONG } };
    await refused(at.act('new-signer', wrong), before, {
      code: 'passphrase-wrong',
      field: 'root.passphrase',
    });
    const empty = { ...asked, root: {} };
    await refused(at.act('new-signer', empty), before, {
      code: 'passphrase-missing',
      field: 'root.passphrase',
    });
    for (const [name, code] of [
      ['line-1', 'name-taken'],
      ['../line-10', 'name-invalid'],
    ] as const)
      await refused(at.act('new-signer', { ...asked, make: inFile(name) }), before, {
        code,
        field: 'make.name',
      });
    const weak = { ...asked, make: { name: 'line-10', key: { custody: 'file', passphrase: '' } } };
    const atNew = { code: 'passphrase-missing', field: 'make.key.passphrase' };
    await refused(at.act('new-signer', weak), before, atNew);
    await refused(at.act('new-signer', { ...asked, confirm: 'line-1' }), before, { code: 'request-wrong' });
    const unnamed = { confirm: 'root', root };
    await refused(at.act('new-signer', unnamed), before, { code: 'request-wrong' });
  });

  it('guessing what opens the root is slowed down; what was refused for another reason counts for nothing', async () => {
    await signerLeak();
    const asked = { confirm: 'root', make: inFile('line-10') };
    for (let i = 0; i < 7; i++)
      expect((await at.act('new-signer', { ...asked, root, make: inFile('line-1') })).status).toBe(200);
    // The clock stands still, however long the guesses take: a sixth is allowed twelve seconds after the first.
    vi.spyOn(Date, 'now').mockReturnValue(Date.now());
    const statuses = [];
    for (let i = 0; i < 6; i++)
      statuses.push((await at.act('new-signer', { ...asked, root: { pin: WRONG } })).status);
    expect(statuses).toEqual([200, 200, 200, 200, 200, 429]);
  });

  it('a passphrase that the desk holds neither opens the root nor protects the new key', async () => {
    await signerLeak();
    await at.post('/session/passphrase', { passphrase: PASSPHRASE, minutes: 1 });
    const before = await at.entries();
    const asked = { confirm: 'root', make: inFile('line-10') };
    await refused(at.act('new-signer', asked), before, {
      code: 'passphrase-missing',
      field: 'root.passphrase',
    });
    const unprotected = {
      confirm: 'root',
      root,
      make: { name: 'line-10', key: { custody: 'file', passphrase: '' } },
    };
    await refused(at.act('new-signer', unprotected), before, { field: 'make.key.passphrase' });
  });

  it('is for the role owner alone, and others are told so before they try', async () => {
    await signerLeak();
    const token = new Accounts(await at.workspace()).addProgram('line-clerk', 'operator');
    at.headers = { authorization: `Bearer ${token}`, 'content-type': 'application/json' };
    const before = await at.entries();
    const asked = { confirm: 'root', root, make: inFile('line-10') };
    expect((await at.act('new-signer', asked)).status).toBe(403);
    await refused(at.act('new-signer', asked), before, { code: 'not-allowed' });
    const { desk } = await at.step('new-signer');
    expect(desk.act).toBeNull();
    expect(desk.left_out).toMatch(/^The role operator may not do it; owner may/);
    expect((await at.step('retire')).desk.act).not.toBeNull();
  });

  it('below an offline root is left to the command line, and its reason is told', async () => {
    const { folder, workspace } = await prepared();
    const offline = await createAuthority(
      join(folder, 'authority'),
      { vendorDomain: 'hollinridge.example', trial: true, type: 'p256', now: new Date(), ...nobody },
      secrets,
    );
    const print = fingerprintText(offline.certificate.spki);
    const file = join(folder, 'authority', 'root-certificate.pem');
    adoptRoot(workspace, file, print, { name: 'deep-root', spare: true, ...nobody });
    at = await AtIncident.open(join(folder, 'ws'), 'root-leak', 'root');
    for (const step of ['trust-signer', 'new-signer']) {
      const { desk, commands } = await at.step(step);
      expect(desk.act).toBeNull();
      expect(desk.left_out).toContain('machine without network');
      expect(commands[0]).toContain('--root deep-root');
      const asked = { confirm: 'deep-root', root, make: inFile('line-10') };
      expect((await at.act(step, asked)).error?.code).toBe('request-wrong');
    }
  });
});

describe('an HSS/LMS signer (RFC 8554)', () => {
  it('is made for a class that asks for one, with its tree told as it grows, and what must be known of its leaves said before', async () => {
    const { folder, workspace } = await prepared();
    const profile = 'suit-sha256-hsslms-a256kw-a256ctr';
    await addClass(workspace, { name: 'quay', model: 'QC-1', scheme: 'asymmetric', core: 'none', profile });
    const quay = await readClass(workspace, 'quay');
    await makeSigner(workspace, 'line-9', { classes: [quay] });
    retireKey(workspace, 'line-1', 'signer', 'superseded');
    at = await AtIncident.open(join(folder, 'ws'), 'hss-doubt', 'line-9');
    const { desk, commands } = await at.step('new-signer');
    expect(commands[0]).toContain('--algorithm hss-lms');
    expect(desk.act.consequences.join(' ')).toContain('This key makes 1024 signatures and then no more.');
    const { error, told } = await at.act('new-signer', { confirm: 'root', root, make: inFile('line-10') });
    expect(error).toBeUndefined();
    expect(told).toContain('growing a tree');
    expect(readKey(await at.workspace(), 'line-10').algorithm).toBe('HSS-LMS');
  });
});

describe('a revocation list', () => {
  it('is made once the key is retired, lies in the workspace, and can be taken; OpenSSL verifies it (RFC 5280 section 5)', async () => {
    await signerLeak();
    expect((await at.step('revoke')).desk.left_out).toBe(
      'Retire line-1 first: the list names what is retired.',
    );
    expect((await at.act('revoke', { confirm: 'root', root })).status).toBe(400);
    await at.act('retire', { confirm: 'line-1' });
    const before = await at.entries();
    const wrong = { confirm: 'root', root: { passphrase: WRONG } };
    await refused(at.act('revoke', wrong), before, { code: 'passphrase-wrong', field: 'root.passphrase' });
    expect((await at.step('revoke')).desk.pages).toEqual([]);
    expect((await at.act('revoke', { confirm: 'root', root })).error).toBeUndefined();
    const { state, desk } = await at.step('revoke');
    expect([state, desk.pages[0]]).toMatchObject(['done', { download: 'root-1.pem' }]);
    const answer = await at.opened.ask(desk.pages[0].page, { headers: at.headers });
    expect(answer.headers.get('content-disposition')).toBe('attachment; filename="root-1.pem"');
    const workspace = await at.workspace();
    const list = workspace.path('revocation-lists', 'root-1.pem');
    expect(await answer.text()).toBe(workspace.files.readText(list));
    const anchor = workspace.path('certificates', 'root.pem');
    const text = execFileSync('openssl', ['crl', '-in', list, '-CAfile', anchor, '-noout', '-text'], {
      encoding: 'utf8',
      stdio: 'pipe',
    });
    const { serial } = readCertificates(workspace, 'line-1')[0]!;
    expect(text.toLowerCase()).toContain(`serial number: ${serial.toLowerCase()}`);
    workspace.files.replace(list, 'another list');
    expect((await at.opened.ask(desk.pages[0].page, { headers: at.headers })).status).toBe(404);
    for (const path of ['root/2', 'nobody/1', '..%2fkeys%2froot/1'])
      expect((await at.opened.ask(`/api/v1/revocation-lists/${path}`, { headers: at.headers })).status).toBe(
        404,
      );
  });
});

describe('what a leaked root asks for', () => {
  it('signers below the spare root, then another spare root', async () => {
    await rootLeak();
    const below = (name: string) => ({ confirm: 'spare-root', root, make: inFile(name) });
    expect((await at.act('trust-signer', below('trust-2'))).error).toBeUndefined();
    expect((await at.act('new-signer', below('line-2'))).error).toBeUndefined();
    const workspace = await at.workspace();
    const spare = readCertificates(workspace, 'spare-root')[0]!;
    for (const [name, purpose] of [
      ['trust-2', 'trust'],
      ['line-2', 'release'],
    ] as const) {
      const [certificate] = readCertificates(workspace, name);
      expect([purposeOf(certificate!), saysIssuedBy(certificate!, spare)]).toEqual([purpose, true]);
    }
    const taken = await at.act('new-spare', { confirm: 'root', make: inFile('spare-root') });
    expect(taken.error).toMatchObject({ code: 'name-taken', field: 'make.name' });
    expect((await at.act('new-spare', { confirm: 'root', make: inFile('spare-2') })).error).toBeUndefined();
    expect(rootStandings(await at.workspace())).toContainEqual(
      expect.objectContaining({ name: 'spare-2', spare: true, retired: false }),
    );
    expect((await at.step('new-spare')).state).toBe('done');
  });
});

describe('the key of a cohort', () => {
  it('is made by whoever may operate: no root is opened for it', async () => {
    const { folder } = await prepared();
    at = await AtIncident.open(join(folder, 'ws'), 'cohort-key-leak', 'dosing.north');
    const token = new Accounts(await at.workspace()).addProgram('line-clerk', 'operator');
    at.headers = { authorization: `Bearer ${token}`, 'content-type': 'application/json' };
    const taken = await at.act('new-cohort', { confirm: 'dosing', make: inFile('north') });
    expect(taken.error).toMatchObject({ code: 'name-taken', field: 'make.name' });
    const { error, told } = await at.act('new-cohort', { confirm: 'dosing', make: inFile('north-2') });
    expect(error).toBeUndefined();
    expect(told).not.toContain(NEW);
    const workspace = await at.workspace();
    expect(readKey(workspace, 'dosing.north-2').purpose).toBe('cohort');
    expect(readLedger(workspace).at(-1)).toMatchObject({ kind: 'cohort-key-made' });
    const record = JSON.parse(workspace.files.readText(workspace.path('ceremonies', 'dosing.north-2.json')));
    expect(record.people).toEqual(['line-clerk']);
  });
});

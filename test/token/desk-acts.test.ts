/** A response at the desk of a production workspace: root and new keys in tokens (PKCS#11, SoftHSM2), each with its own PIN. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { createRoot, createSigner, signerScope } from '../../src/authority/index.ts';
import { createSecretSource } from '../../src/keys/index.ts';
import { addClass, initWorkspace, listKeys, readKey } from '../../src/workspace/index.ts';
import { AtIncident } from '../server/at-incident.ts';
import { initToken, MISSING, MODULE, PIN, SO_PIN, useOwnTokens } from './softhsm.ts';

const LINE_PIN = '2468-test';
const WRONG = '9999-test';
const NEW = 'seven lamps along the glass';
const ROOT = 'pkcs11:token=deep%20root';
const LINE = 'pkcs11:token=line%20keys';
const nobody = { people: [], backups: [] };
const inToken = (name: string, uri = LINE, pin = LINE_PIN) => ({ name, key: { custody: 'token', uri, pin } });
const inFile = (name: string, passphrase: string) => ({ name, key: { custody: 'file', passphrase } });
const root = { pin: PIN };

describe.skipIf(MISSING !== '')('a leaked signer of a production workspace', () => {
  useOwnTokens();
  let at: AtIncident;

  beforeAll(async () => {
    process.env.FIELDSEAL_PKCS11_MODULE = MODULE;
    initToken('deep root');
    const label = ['--label', 'line keys', '--pin', LINE_PIN, '--so-pin', SO_PIN];
    execFileSync('softhsm2-util', ['--init-token', '--free', ...label], { stdio: 'pipe' });
    const folder = join(mkdtempSync(join(tmpdir(), 'fieldseal-desk-token-')), 'ws');
    const workspace = initWorkspace(folder, { vendorDomain: 'hollinridge.example', production: true });
    await addClass(workspace, { name: 'vent', model: 'VC-2', scheme: 'asymmetric' });
    const secretsWith = (pin: string) =>
      createSecretSource({ production: true, environment: { FIELDSEAL_PIN: pin } });
    const place = (uri: string) => ({ custody: 'token', uri }) as const;
    await createRoot(
      workspace,
      { name: 'root', type: 'p256', place: place(ROOT), ...nobody },
      secretsWith(PIN),
    );
    const scope = await signerScope(workspace, ['vent']);
    await createSigner(
      workspace,
      {
        name: 'line-1',
        type: 'p256',
        place: place(LINE),
        root: 'root',
        ...scope,
        days: 30,
        generation: 1,
        ...nobody,
      },
      secretsWith(LINE_PIN),
      { secrets: secretsWith(PIN) },
    );
    at = await AtIncident.open(folder, 'signer-leak', 'line-1');
  });
  afterAll(() => at?.close());

  const refusals: [string, object, object][] = [
    [
      'the PIN of the root',
      { root: { pin: WRONG }, make: inToken('line-2') },
      { code: 'pin-wrong', field: 'root.pin' },
    ],
    ['no PIN of the root', { make: inToken('line-2') }, { code: 'pin-missing', field: 'root.pin' }],
    [
      'the PIN of the new key',
      { root, make: inToken('line-2', LINE, WRONG) },
      { code: 'pin-wrong', field: 'make.key.pin' },
    ],
    [
      'a token that is not there',
      { root, make: inToken('line-2', 'pkcs11:token=lost') },
      { code: 'token-absent', field: 'make.key.uri' },
    ],
    [
      'a URI with a PIN in it',
      { root, make: inToken('line-2', `${LINE}?pin-value=${LINE_PIN}`) },
      { code: 'token-uri', field: 'make.key.uri' },
    ],
    [
      'a weak passphrase',
      { root, make: inFile('line-2', 'short') },
      { code: 'passphrase-weak', field: 'make.key.passphrase' },
    ],
    ['a name that is taken', { root, make: inToken('line-1') }, { code: 'name-taken', field: 'make.name' }],
  ];

  it.each(refusals)(
    '%s refuses the new signer, at its field, and nothing is made',
    async (_, asked, error) => {
      const before = await at.entries();
      const { told, error: found } = await at.act('new-signer', { confirm: 'root', ...asked });
      expect(found).toMatchObject(error);
      for (const secret of [PIN, LINE_PIN, WRONG]) expect(told).not.toContain(secret);
      expect(await at.entries()).toBe(before);
      expect(listKeys(await at.workspace(), 'signer').map(({ name }) => name)).toEqual(['line-1']);
    },
  );

  it('each PIN opens its own token, once, and stands in no file', async () => {
    const { act } = (await at.step('new-signer')).desk;
    expect(act).toMatchObject({ root: { custody: 'token' }, makes: { custodies: ['token', 'file'] } });
    const { error } = await at.act('new-signer', { confirm: 'root', root, make: inToken('line-2') });
    expect(error).toBeUndefined();
    expect(readKey(await at.workspace(), 'line-2')).toMatchObject({ custody: 'token', trial: false });
    await at.act('retire', { confirm: 'line-1' });
    expect((await at.act('revoke', { confirm: 'root', root })).error).toBeUndefined();
    expect((await at.step('revoke')).state).toBe('done');
    for (const secret of [PIN, LINE_PIN, NEW]) expect(at.filesWith(secret)).toEqual([]);
    expect(at.opened.faults).toEqual([]);
  });
});

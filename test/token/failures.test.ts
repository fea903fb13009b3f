import { beforeAll, describe, expect, it } from 'vitest';
import { createSigningKey } from '../../src/keys/index.ts';
import { CREATED, codeOf, failureOf, unattended } from '../keys/support.ts';
import { initToken, MISSING, MODULE, PIN, useOwnTokens } from './softhsm.ts';

const WRONG = 'wrong-pin-7731';

describe.skipIf(MISSING !== '')('PKCS#11: what goes wrong with a real token', () => {
  useOwnTokens();

  beforeAll(() => {
    initToken('present');
    initToken('twin');
    initToken('twin');
  });

  it('a wrong PIN: says so, says that tries run out, and never shows the PIN', async () => {
    const error = await failureOf(() => make('present', { pin: WRONG }));
    expect(error.code).toBe('pin-wrong');
    expect(error.message).toContain('lock after a few wrong tries');
    expect(JSON.stringify([error.message, error.hint, error.stack])).not.toContain(WRONG);
  });

  it('works again with the right PIN afterwards', async () => {
    const { key } = await make('present');
    key.close();
  });

  it('a token that is not there: names the ones that are', async () => {
    const error = await failureOf(() => make('gone'));
    expect(error.code).toBe('token-absent');
    expect(error.message).toContain('present');
  });

  it('two tokens with one label: asks for the serial number', async () => {
    const error = await failureOf(() => make('twin'));
    expect(error.code).toBe('token-ambiguous');
    expect(error.message).toMatch(/serial numbers [0-9a-f]+, [0-9a-f]+/);
  });

  it('a module that is not there', async () => {
    expect(await codeOf(() => make('present', { module: '/nowhere/libtoken.so' }))).toBe(
      'token-module-unloadable',
    );
  });

  it('a file that is no module', async () => {
    const error = await failureOf(() => make('present', { module: new URL(import.meta.url).pathname }));
    expect(error.code).toBe('token-module-unloadable');
  });

  it('no module named at all', async () => {
    const before = process.env.FIELDSEAL_PKCS11_MODULE;
    delete process.env.FIELDSEAL_PKCS11_MODULE;
    expect(await codeOf(() => make('present', { module: undefined }))).toBe('token-module-missing');
    if (before !== undefined) process.env.FIELDSEAL_PKCS11_MODULE = before;
  });

  it('no PIN and no terminal', async () => {
    expect(await codeOf(() => make('present', { pin: undefined }))).toBe('pin-missing');
  });

  it('a PIN in the URI is refused before anything is opened, and not repeated', async () => {
    const uri = `pkcs11:token=present?pin-value=${WRONG}`;
    const error = await failureOf(() => make('present', { uri }));
    expect(error.code).toBe('token-uri');
    expect(error.message + error.hint).not.toContain(WRONG);
  });
});

interface Changes {
  pin?: string | undefined;
  module?: string | undefined;
  uri?: string;
}

function make(token: string, changes: Changes = {}) {
  const { pin, module, uri } = {
    pin: PIN,
    module: MODULE,
    uri: `pkcs11:token=${token};object=k`,
    ...changes,
  };
  const naming = { name: 'k', purpose: 'signer', trial: true, created: CREATED, type: 'p256' } as const;
  return createSigningKey(
    { ...naming, place: { custody: 'token', uri, module } },
    unattended(pin === undefined ? {} : { FIELDSEAL_PIN: pin }),
  );
}

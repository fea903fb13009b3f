/** A token without CKM_HSS (SoftHSM2 has none): the refusal is clear, and nothing is left in the token. */
import { execFileSync } from 'node:child_process';
import { beforeAll, describe, expect, it } from 'vitest';
import { parseHssShape } from '../../src/crypto/index.ts';
import { createHssSigner } from '../../src/keys/index.ts';
import { CREATED, failureOf, unattended } from '../keys/support.ts';
import { initToken, MISSING, MODULE, PIN, useOwnTokens } from './softhsm.ts';

const LABEL = 'hash based';

describe.skipIf(MISSING !== '')('PKCS#11 v3.1 6.14 with a token that does not know HSS/LMS', () => {
  useOwnTokens();
  beforeAll(() => initToken(LABEL));

  it('says what it cannot do and what to do instead', async () => {
    const place = {
      custody: 'token',
      uri: `pkcs11:token=${encodeURIComponent(LABEL)}`,
      module: MODULE,
    } as const;
    const request = {
      ...{ name: 'line-q', purpose: 'signer' as const, trial: false, created: CREATED, place },
      shape: parseHssShape('H5/W4')!,
      startLeaves: () => {
        throw new Error('no leaf is counted outside a token');
      },
    } as const;
    const error = await failureOf(() => createHssSigner(request, unattended({ FIELDSEAL_PIN: PIN })));
    expect(error.code).toBe('token-mechanism');
    expect(error.hint).toContain('CKM_HSS');
    const objects = execFileSync('pkcs11-tool', [
      ...['--module', MODULE, '--token-label', LABEL, '--login', '--pin', PIN, '--list-objects'],
    ]);
    expect(objects.toString().trim()).toBe('');
  });
});

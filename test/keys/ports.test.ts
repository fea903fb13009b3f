import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import type { MacKey, Signer } from '../../src/cose/index.ts';
import { randomBytes } from '../../src/crypto/index.ts';
import {
  createMacKey,
  createSigningKey,
  generatePrivateKey,
  openMacKey,
  openSigner,
  softwareMacKey,
  softwareSigner,
} from '../../src/keys/index.ts';
import { tokenFailure } from '../../src/keys/token/failure.ts';
import { failureContract, macKeyContract, signerContract } from './contract.ts';
import { CREATED, scratch, withPassphrase } from './support.ts';

const folder = scratch();
const secrets = withPassphrase();
const opened: Record<string, Signer> = {};
let macKey: MacKey;

beforeAll(async () => {
  await Promise.all([fromFile('p256'), fromFile('ed25519'), macFromFile()]);
});

for (const type of ['p256', 'ed25519'] as const) {
  const memory = softwareSigner(generatePrivateKey(type));
  signerContract(`${type} in memory`, () => memory);
  signerContract(`${type} in a file`, () => opened[type]!);
}

const secret = randomBytes(32);
const inMemory = softwareMacKey(secret);
macKeyContract(
  'in memory',
  () => inMemory,
  () => secret,
);
macKeyContract('in a file', () => macKey);

failureContract('the token was pulled out', 'token-absent', () => {
  const pulledOut = () => Promise.reject(tokenFailure(new Error('CKR_DEVICE_REMOVED:50'), 'desk'));
  return {
    signer: { ...softwareSigner(generatePrivateKey('p256')), sign: pulledOut },
    macKey: { ...inMemory, mac: pulledOut },
  };
});

describe('softwareMacKey', () => {
  it('keeps working after the caller zeroed the secret', async () => {
    const bytes = randomBytes(32);
    const key = softwareMacKey(bytes);
    const before = await key.mac(Uint8Array.of(1));
    bytes.fill(0);
    expect(await key.mac(Uint8Array.of(1))).toEqual(before);
  });
});

async function fromFile(type: 'p256' | 'ed25519'): Promise<void> {
  const file = join(folder, `${type}.pem`);
  const place = { custody: 'file', path: file } as const;
  const naming = { name: type, purpose: 'signer', trial: true, created: CREATED } as const;
  const { description } = await createSigningKey({ ...naming, type, place }, secrets);
  opened[type] = await openSigner(description, { file, secrets, production: false });
}

async function macFromFile(): Promise<void> {
  const file = join(folder, 'class.pem');
  const naming = { name: 'class', purpose: 'class', trial: true, created: CREATED } as const;
  const { description } = await createMacKey({ ...naming, place: { custody: 'file', path: file } }, secrets);
  macKey = await openMacKey(description, { file, secrets, production: false });
}

import { execFileSync, spawnSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { fromHex } from '../../src/bytes/index.ts';
import {
  type CustodySigner,
  createSigningKey,
  inspectTokenKey,
  type MadeKey,
  openRoot,
  openSigner,
  parseTokenUri,
} from '../../src/keys/index.ts';
import { CK } from '../../src/keys/token/constants.ts';
import { locate, tracked } from '../../src/keys/token/locate.ts';
import { loadModule } from '../../src/keys/token/module.ts';
import { TokenSession } from '../../src/keys/token/session.ts';
import { ecdsaFromRaw, fingerprint, toPem } from '../../src/x509/index.ts';
import { signerContract } from '../keys/contract.ts';
import { CREATED, codeOf, unattended } from '../keys/support.ts';
import { initToken, MISSING, MODULE, PIN, SO_PIN, useOwnTokens } from './softhsm.ts';

const LABEL = 'line keys';
const secrets = unattended({ FIELDSEAL_PIN: PIN, FIELDSEAL_SO_PIN: SO_PIN });
const access = { file: '', secrets, production: true, module: MODULE };
const made: Record<string, MadeKey<CustodySigner>> = {};

describe.skipIf(MISSING !== '')('PKCS#11: signing keys in a token', () => {
  const folder = useOwnTokens();

  beforeAll(async () => {
    initToken(LABEL);
    made.p256 = await make('line-1', 'p256', 'signer');
    made.ed25519 = await make('line-2', 'ed25519', 'signer');
    made.root = await make('root', 'p256', 'root');
  });

  signerContract('p256 in a token', () => made.p256!.key);
  signerContract('ed25519 in a token', () => made.ed25519!.key);
  signerContract('root in a token, the PIN given for every signature', () => made.root!.key);

  it('v3.2 4.9: attributes read back: made here, sensitive, never extractable, and kept as evidence', () => {
    for (const { evidence } of Object.values(made)) {
      const found = Object.fromEntries(evidence.attributes.map((row) => [row.name, row.found]));
      expect(found).toMatchObject({
        CKA_TOKEN: 'true',
        CKA_PRIVATE: 'true',
        CKA_SENSITIVE: 'true',
        CKA_EXTRACTABLE: 'false',
        CKA_ALWAYS_SENSITIVE: 'true',
        CKA_NEVER_EXTRACTABLE: 'true',
        CKA_LOCAL: 'true',
      });
      expect(evidence.attributes.filter((row) => row.ok === false)).toEqual([]);
      expect(evidence.facts).toMatchObject({ token_label: LABEL, token_model: 'SoftHSM v2' });
      expect(evidence.facts.token_serial).toMatch(/^[0-9a-f]+$/);
    }
  });

  it('v3.2 4.9: CKA_ALWAYS_AUTHENTICATE is set for the root and for no signer', () => {
    const pinEachTime = (name: string) =>
      made[name]!.evidence.attributes.find((row) => row.name === 'CKA_ALWAYS_AUTHENTICATE')?.found;
    expect(pinEachTime('root')).toBe('true');
    expect(pinEachTime('p256')).toBe('false');
  });

  it('the description names the key by URI and by the fingerprint of its public half, and holds no PIN', () => {
    const { description } = made.p256!;
    expect(description).toMatchObject({ custody: 'token', algorithm: 'ESP256', purpose: 'signer' });
    expect(description.fingerprint).toBe(fingerprint(made.p256!.key.publicKey));
    expect(parseTokenUri(description.token!.uri)).toMatchObject({ token: LABEL, object: 'line-1' });
    expect(JSON.stringify(made)).not.toContain(PIN);
  });

  it('v3.2 5.7.5: the token refuses the private value (CKR_ATTRIBUTE_SENSITIVE)', async () => {
    const session = await directSession();
    for (const object of ['line-1', 'line-2', 'root']) {
      const key = locate(session, { token: LABEL, object }, { CKA_CLASS: CK.classPrivateKey });
      expect(() => session.read(key, 'CKA_VALUE')).toThrow('CKR_ATTRIBUTE_SENSITIVE');
    }
    session.close();
  });

  it('opens again in a new session and signs with the same key', async () => {
    for (const name of ['p256', 'ed25519']) {
      const signer = await openSigner(made[name]!.description, access);
      expect(signer.publicKey).toEqual(made[name]!.key.publicKey);
      expect(await signer.sign(fromHex('00'))).toHaveLength(64);
      signer.close();
    }
    const root = await openRoot(made.root!.description, access);
    expect(await root.sign(fromHex('00'))).toHaveLength(64);
    root.close();
  });

  it('openssl verifies a signature made in the token (DER form, RFC 3279 2.2.3)', async () => {
    const message = Buffer.from('to be signed in the token');
    const files = { key: join(folder, 'k.pem'), message: join(folder, 'm'), signature: join(folder, 's') };
    writeFileSync(files.key, toPem('PUBLIC KEY', made.p256!.key.publicKey));
    writeFileSync(files.message, message);
    writeFileSync(files.signature, ecdsaFromRaw(await made.p256!.key.sign(message)));
    const args = ['dgst', '-sha256', '-verify', files.key, '-signature', files.signature, files.message];
    expect(execFileSync('openssl', args).toString()).toContain('Verified OK');
  });

  it('reads the attributes of a key made before', async () => {
    const evidence = await inspectTokenKey(made.root!.description, access);
    expect(evidence.attributes).toEqual(made.root!.evidence.attributes);
  });

  it('pkcs11-tool, a second opinion: the key is there, local, never extractable, always sensitive', (context) => {
    const listing = spawnSync('pkcs11-tool', [
      ...['--module', MODULE, '--token-label', LABEL, '--login', '--pin', PIN],
      ...['--list-objects', '--type', 'privkey'],
    ]);
    if (listing.error) return context.skip('pkcs11-tool is not installed');
    const text = listing.stdout.toString();
    const root = text.split('Private Key Object').find((part) => /label:\s+root\n/.test(part));
    expect(root).toContain('always sensitive');
    expect(root).toContain('never extractable');
    expect(root).toContain('local');
  });

  it('refuses to make a second key under a name that is taken', async () => {
    expect(await codeOf(() => make('line-1', 'p256', 'signer'))).toBe('token-key-exists');
  });

  it('a trial key bears its mark in its label, and production refuses it', async () => {
    const trial = await make('try-1', 'p256', 'signer', true);
    trial.key.close();
    expect(parseTokenUri(trial.description.token!.uri).object).toBe('try-1 (fieldseal TRIAL key)');
    expect(await codeOf(() => openSigner(trial.description, access))).toBe('key-trial');
    const passedOff = { ...trial.description, trial: false };
    expect(await codeOf(() => openSigner(passedOff, access))).toBe('key-trial');
    const opened = await openSigner(trial.description, { ...access, production: false });
    opened.close();
  });

  it('a description with another public key is found out at the first signature', async () => {
    const { spki, fingerprint: other } = made.root!.description;
    const swapped = { ...made.p256!.description, spki, fingerprint: other };
    const signer = await openSigner(swapped, access);
    expect(await codeOf(() => signer.sign(fromHex('00')))).toBe('signature-faulty');
    signer.close();
  });

  it('sealing cannot open the root', async () => {
    expect(await codeOf(() => openSigner(made.root!.description, access))).toBe('key-purpose');
  });

  it('v3.2 5.2: after CKR_BUFFER_TOO_SMALL the operation stays open, so the next one gets a fresh session', async () => {
    const session = await directSession();
    const uri = { token: LABEL, object: 'line-1' };
    const key = tracked(session, () => locate(session, uri, { CKA_CLASS: CK.classPrivateKey }));
    const digest = new Uint8Array(32).fill(1);
    await expect(session.sign(key, CK.ecdsa, digest, 8)).rejects.toThrow('CKR_BUFFER_TOO_SMALL');
    expect(await session.sign(key, CK.ecdsa, digest, 64)).toHaveLength(64);
    expect(session.generation).toBe(1);
    session.close();
  });

  it('signing after close fails, and says which token', async () => {
    const signer = await openSigner(made.p256!.description, access);
    signer.close();
    await expect(signer.sign(fromHex('00'))).rejects.toThrow(LABEL);
  });
});

function make(name: string, type: 'p256' | 'ed25519', purpose: 'root' | 'signer', trial = false) {
  const uri = `pkcs11:token=${encodeURIComponent(LABEL)};object=${name}`;
  const place = { custody: 'token', uri, module: MODULE } as const;
  return createSigningKey({ name, purpose, trial, created: CREATED, type, place }, secrets);
}

async function directSession(): Promise<TokenSession> {
  return TokenSession.open(await loadModule(MODULE), { uri: { token: LABEL }, secrets });
}

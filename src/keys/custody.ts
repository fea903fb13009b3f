/** Making and opening keys, whatever custody they are in. */
import { fromHex, toHex } from '../bytes/index.ts';
import { type KeyType, type PublicKey, randomBytes, readPublicKey } from '../crypto/index.ts';
import { requireProductionKey } from './admission.ts';
import { requireSigningType } from './algorithms.ts';
import {
  describeSecretKey,
  describeSigningKey,
  type KeyDescription,
  type KeyNaming,
  readKeyDescription,
} from './description.ts';
import { KeyError } from './error.ts';
import {
  type KeyFile,
  openPrivateKey,
  savePrivateKey,
  saveSecretKey,
  withSecretKey,
} from './file-custody.ts';
import { checkValue } from './fingerprint.ts';
import { openHssSigner } from './hss/custody.ts';
import type { CustodyMacKey, CustodySigner, KeyAccess, MadeKey, NewKey } from './ports.ts';
import type { SecretSource } from './secrets.ts';
import { generatePrivateKey, SECRET_KEY_LENGTH, softwareMacKey, softwareSigner } from './software.ts';
import * as token from './token/custody.ts';

const NOTHING_OPEN = { close() {} };

/**
 * Makes a signing key in a file or in a token. A root's or an approver's in a token asks for the PIN at every signature
 * where the token can do that. Throws `KeyError`; nothing is left behind then.
 */
export async function createSigningKey(
  request: NewKey & { readonly type: KeyType; readonly purpose: 'root' | 'signer' | 'approver' },
  secrets: SecretSource,
): Promise<MadeKey<CustodySigner>> {
  const { place, trial } = request;
  const type = requireSigningType(request.type);
  if (place.custody === 'token') return token.createSigningKey(request, place, type, secrets);
  const key = generatePrivateKey(type);
  const evidence = await savePrivateKey(keyFile(request, place.path), key, trial, secrets);
  const signer = softwareSigner(key);
  return {
    description: describeSigningKey(request, { custody: 'file' }, signer),
    key: { ...signer, ...NOTHING_OPEN },
    evidence,
  };
}

/** Makes a class or cohort key, 32 random bytes, in a file or in a token. Throws `KeyError`. */
export async function createMacKey(
  request: NewKey & { readonly purpose: 'class' | 'cohort' },
  secrets: SecretSource,
): Promise<MadeKey<CustodyMacKey>> {
  const { place, trial } = request;
  if (place.custody === 'token') return token.createMacKey(request, place, secrets);
  const secret = randomBytes(SECRET_KEY_LENGTH);
  try {
    const evidence = await saveSecretKey(keyFile(request, place.path), 'mac', secret, trial, secrets);
    const description = describeSecretKey(request, { custody: 'file' }, 'HMAC 256/256', checkValue(secret));
    return { description, key: { ...softwareMacKey(secret), ...NOTHING_OPEN }, evidence };
  } finally {
    secret.fill(0);
  }
}

/**
 * Opens a signer's key for sealing. Never the root's: sealing must not be able to open it. Throws `KeyError`.
 */
export function openSigner(description: KeyDescription, access: KeyAccess): Promise<CustodySigner> {
  return openSigningKey(description, access, 'signer');
}

/** Opens the root's key, to issue certificates and revocation lists. Throws `KeyError`. */
export function openRoot(description: KeyDescription, access: KeyAccess): Promise<CustodySigner> {
  return openSigningKey(description, access, 'root');
}

/** Opens the key with which a person asks for a sealing or approves one. It seals nothing. Throws `KeyError`. */
export function openApprover(description: KeyDescription, access: KeyAccess): Promise<CustodySigner> {
  return openSigningKey(description, access, 'approver');
}

/** Opens a class or cohort key. Throws `KeyError`. */
export async function openMacKey(description: KeyDescription, access: KeyAccess): Promise<CustodyMacKey> {
  requirePurpose(description, ['class', 'cohort']);
  if (description.custody === 'token') {
    admit(description, access, token.isMarkedTrial(description));
    return requireCheckValue(description, await token.openMacKey(description, access));
  }
  return withMacSecret(description, access, (secret) => ({ ...softwareMacKey(secret), ...NOTHING_OPEN }));
}

/**
 * Lends the bytes of a class or cohort key in file custody to `use`, for a virtual unit that is to hold them.
 * They are zeroed afterwards. Throws `KeyError`, key-custody where the key is in a token, which never gives
 * it out.
 */
export function withMacSecret<T>(
  description: KeyDescription,
  access: KeyAccess,
  use: (secret: Uint8Array) => T | Promise<T>,
): Promise<T> {
  requirePurpose(description, ['class', 'cohort']);
  return withDescribedSecret(description, access, 'mac', checkValue, use);
}

/** As `withMacSecret`, for a secret of either kind; its check value must be the described one. */
export function withDescribedSecret<T>(
  description: KeyDescription,
  access: KeyAccess,
  kind: 'mac' | 'wrap' | 'wrap-128',
  checkOf: (secret: Uint8Array) => Uint8Array,
  use: (secret: Uint8Array) => T | Promise<T>,
): Promise<T> {
  requireFile(description);
  return withSecretKey(keyFile(description, access.file), kind, access.secrets, (secret, marked) => {
    requireSame(description, description.check_value, checkOf(secret));
    admit(description, access, marked);
    return use(secret);
  });
}

async function openSigningKey(
  described: KeyDescription,
  access: KeyAccess,
  purpose: 'root' | 'signer' | 'approver',
): Promise<CustodySigner> {
  const description = readKeyDescription(described);
  requirePurpose(description, [purpose]);
  const publicKey = describedPublicKey(description);
  if (description.custody === 'token') {
    admit(description, access, token.isMarkedTrial(description));
    return token.openSigner(description, publicKey, access);
  }
  requireFile(description);
  const file = keyFile(description, access.file);
  const { signer, trial } =
    publicKey.type === 'hss-lms' ? await openHssSigner(file, access) : await openSoftwareSigner(file, access);
  try {
    requireSame(description, description.spki, signer.publicKey);
    admit(description, access, trial);
    return signer;
  } catch (error) {
    signer.close();
    throw error;
  }
}

async function openSoftwareSigner(
  file: KeyFile,
  access: KeyAccess,
): Promise<{ signer: CustodySigner; trial: boolean }> {
  const { key, trial } = await openPrivateKey(file, access.secrets);
  return { signer: { ...softwareSigner(key), ...NOTHING_OPEN }, trial };
}

function describedPublicKey(description: KeyDescription): PublicKey {
  const key = description.spki && readPublicKey(fromHex(description.spki));
  if (key) return key;
  throw new KeyError(
    'key-description-invalid',
    `The description of the key ${description.name} holds no public key of a kind known here.`,
    'Restore keys/NAME.json from git.',
  );
}

function admit(description: KeyDescription, access: KeyAccess, marked: boolean): void {
  if (!access.production) return;
  const { name, trial, spki, check_value } = description;
  requireProductionKey({
    name,
    trial: trial || marked,
    ...(spki && { spki: fromHex(spki) }),
    ...(check_value && { checkValue: fromHex(check_value) }),
  });
}

function requireCheckValue(description: KeyDescription, key: CustodyMacKey): CustodyMacKey {
  try {
    requireSame(description, description.check_value, key.keyId);
    return key;
  } catch (error) {
    key.close();
    throw error;
  }
}

function requireSame(description: KeyDescription, described: string | undefined, found: Uint8Array): void {
  if (described === toHex(found)) return;
  throw new KeyError(
    'key-differs',
    `The key found for ${description.name} is another one than its description names.`,
    'Files or tokens were mixed up: compare the fingerprints, and fetch the right key from its backup.',
  );
}

function requirePurpose(description: KeyDescription, wanted: readonly KeyDescription['purpose'][]): void {
  if (wanted.includes(description.purpose)) return;
  throw new KeyError(
    'key-purpose',
    `The key ${description.name} is a ${description.purpose} key; ${wanted.join(' or ')} is wanted here.`,
    'Name a key that was made for this purpose: a key serves one purpose only.',
  );
}

function requireFile(description: KeyDescription): void {
  if (description.custody === 'file') return;
  const [where, next] =
    description.custody === 'token'
      ? [
          'is in a token, which never gives it out',
          'Have the token do the work, or wrap the key for a station.',
        ]
      : ['is kept on an offline machine', 'Carry a request file there, and its reply back.'];
  throw new KeyError('key-custody', `The key ${description.name} ${where}.`, next);
}

function keyFile(naming: Pick<KeyNaming, 'name' | 'purpose'>, path: string): KeyFile {
  const { name, purpose } = naming;
  return { path, keyName: name, purpose: purpose === 'root' || purpose === 'approver' ? purpose : 'working' };
}

/** Keys in encrypted files: PKCS#8 under a passphrase, which OpenSSL reads. */

import type { KeyObject } from 'node:crypto';
import { existsSync } from 'node:fs';
import { DerError, fromPem, toPem, X509Error } from '../x509/index.ts';
import { KeyError } from './error.ts';
import type { KeyEvidence } from './evidence.ts';
import { readTextFile, writeNewFile } from './files.ts';
import { decryptPrivateKeyInfo, encryptPrivateKeyInfo, readProtection, wrongPassphrase } from './pbes2.ts';
import {
  type FileKeyKind,
  markPrivateKeyInfo,
  type PrivateKeyInfo,
  readPrivateKeyInfo,
  type SecretKeyKind,
  writeSecretKeyInfo,
} from './pkcs8.ts';
import { type PassphraseRequest, type SecretSource, withSecret } from './secrets.ts';
import { importPrivateKey } from './software.ts';

const LABEL = 'ENCRYPTED PRIVATE KEY';

/** Where a key file lies, and whose it is. */
export interface KeyFile {
  readonly path: string;
  readonly keyName: string;
  readonly purpose: PassphraseRequest['purpose'];
}

/**
 * Writes a private key to a new file. Throws `KeyError` key-file-exists, key-file-unwritable, passphrase-....
 */
export async function savePrivateKey(
  file: KeyFile,
  key: KeyObject,
  trial: boolean,
  secrets: SecretSource,
): Promise<KeyEvidence> {
  return save(file, secrets, () => {
    const plain = key.export({ format: 'der', type: 'pkcs8' });
    const marked = markPrivateKeyInfo(plain, trial);
    plain.fill(0);
    return marked;
  });
}

/** Writes a secret key to a new file. Throws as `savePrivateKey`. */
export async function saveSecretKey(
  file: KeyFile,
  kind: SecretKeyKind,
  secret: Uint8Array,
  trial: boolean,
  secrets: SecretSource,
): Promise<KeyEvidence> {
  return save(file, secrets, () => writeSecretKeyInfo(kind, secret, trial));
}

/**
 * As `saveSecretKey`, in two steps: the passphrase is asked for now, and the returned function writes the file. For keys
 * that take long to make, so that nobody waits at the prompt and nothing is left of a key given up half-way.
 */
export function prepareSecretKey(
  file: KeyFile,
  kind: SecretKeyKind,
  secret: Uint8Array,
  trial: boolean,
  secrets: SecretSource,
): Promise<() => KeyEvidence> {
  return prepare(file, secrets, () => writeSecretKeyInfo(kind, secret, trial));
}

/**
 * Opens a key file and lends its PrivateKeyInfo to `use`; the plain bytes are zeroed afterwards. Throws
 * `KeyError` key-file-..., passphrase-..., key-type-unsupported, key-protection-unsupported.
 */
export async function withKeyFile<T>(
  file: KeyFile,
  secrets: SecretSource,
  use: (info: PrivateKeyInfo, whole: Uint8Array) => T | Promise<T>,
): Promise<T> {
  const encrypted = readEncryptedKey(file.path);
  readProtection(encrypted); // a damaged file is told before a passphrase is asked for
  const request = { keyName: file.keyName, purpose: file.purpose, fresh: false };
  const plain = withSecret(secrets.passphrase(request), (passphrase) =>
    decryptPrivateKeyInfo(encrypted, passphrase),
  );
  return withSecret(plain, (whole) => use(readDecrypted(whole), whole));
}

/** The signing key in a file, with its mark. */
export function openPrivateKey(
  file: KeyFile,
  secrets: SecretSource,
): Promise<{ key: KeyObject; trial: boolean }> {
  return withKeyFile(file, secrets, (info, whole) => {
    requireKind(info, ['p256', 'ed25519'], file.keyName);
    return { key: importPrivateKey(whole), trial: info.trial };
  });
}

/** Lends the bytes of a secret key in a file to `use`; they are zeroed afterwards. */
export function withSecretKey<T>(
  file: KeyFile,
  kind: SecretKeyKind,
  secrets: SecretSource,
  use: (secret: Uint8Array, trial: boolean) => T | Promise<T>,
): Promise<T> {
  return withKeyFile(file, secrets, (info) => {
    requireKind(info, [kind], file.keyName);
    return use(info.privateKey, info.trial);
  });
}

async function save(file: KeyFile, secrets: SecretSource, info: () => Uint8Array): Promise<KeyEvidence> {
  return (await prepare(file, secrets, info))();
}

async function prepare(
  file: KeyFile,
  secrets: SecretSource,
  info: () => Uint8Array,
): Promise<() => KeyEvidence> {
  requireAbsent(file.path);
  const request = { keyName: file.keyName, purpose: file.purpose, fresh: true };
  const encrypted = await withSecret(secrets.passphrase(request), (passphrase) =>
    withSecret(Promise.resolve(info()), (plain) => encryptPrivateKeyInfo(plain, passphrase)),
  );
  return () => {
    writeNewFile(file.path, toPem(LABEL, encrypted));
    return { custody: 'file', facts: protectionFacts(encrypted), attributes: [] };
  };
}

// Told before anybody thinks of a passphrase; the write itself refuses too.
function requireAbsent(path: string): void {
  if (!existsSync(path)) return;
  throw new KeyError(
    'key-file-exists',
    `The file ${path} is there already; it was left as it is.`,
    'Choose another name. A key that is still needed must not be overwritten.',
  );
}

function protectionFacts(encrypted: Uint8Array): Record<string, string> {
  const { kdf, rounds, cipher } = readProtection(encrypted);
  return {
    format: 'PKCS#8 EncryptedPrivateKeyInfo (RFC 5958), PBES2 (RFC 8018)',
    key_derivation: `${kdf}, ${rounds} rounds`,
    cipher,
    file_mode: '0600',
    made_by: `OpenSSL ${process.versions.openssl}`,
  };
}

function readEncryptedKey(path: string): Uint8Array {
  const block = keyBlock(path);
  if (block.label === LABEL) return block.der;
  if (block.label.endsWith('PRIVATE KEY')) {
    throw new KeyError(
      'key-protection-unsupported',
      `The key in ${path} is not encrypted, or is protected in a form older than PKCS#8.`,
      'Protect it: openssl pkcs8 -topk8 -v2 aes-256-cbc -v2prf hmacWithSHA256 -iter 600000 -in OLD -out NEW',
    );
  }
  throw damaged(path, `it holds ${block.label}`);
}

function keyBlock(path: string) {
  try {
    const blocks = fromPem(readTextFile(path));
    if (blocks.length === 1) return blocks[0]!;
    throw damaged(path, 'it holds more than one PEM block');
  } catch (error) {
    if (error instanceof X509Error) throw damaged(path, error.message);
    throw error;
  }
}

/**
 * Reads what came out of decryption. Wrong passphrases pass the padding check now and then; what they give is
 * then no PrivateKeyInfo. Throws `KeyError` passphrase-wrong, key-type-unsupported.
 */
export function readDecrypted(plain: Uint8Array): PrivateKeyInfo {
  try {
    return readPrivateKeyInfo(plain);
  } catch (error) {
    if (error instanceof DerError) throw wrongPassphrase();
    throw error;
  }
}

function requireKind(info: PrivateKeyInfo, wanted: readonly FileKeyKind[], keyName: string): void {
  if (wanted.includes(info.kind)) return;
  throw new KeyError(
    'key-differs',
    `The file of the key ${keyName} holds another kind of key than its description says.`,
    'Files were mixed up: fetch the right one from its backup.',
  );
}

function damaged(path: string, why: string): KeyError {
  return new KeyError(
    'key-file-damaged',
    `The file ${path} is not a key file as it was written (${why}).`,
    'It was cut off or edited: fetch it from its backup.',
  );
}

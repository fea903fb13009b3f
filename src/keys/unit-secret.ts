/** Secrets that a virtual unit holds: encrypted PEM texts in its file, where they are not trial secrets in clear. */
import type { Signer } from '../cose/index.ts';
import { onePem, toPem } from '../x509/index.ts';
import { KeyError } from './error.ts';
import { readDecrypted } from './file-custody.ts';
import { decryptPrivateKeyInfo, encryptPrivateKeyInfo } from './pbes2.ts';
import { writeSecretKeyInfo } from './pkcs8.ts';
import { type SecretSource, withSecret } from './secrets.ts';
import { importPrivateKey, softwareSigner } from './software.ts';

const LABEL = 'ENCRYPTED PRIVATE KEY';

/** Encrypts a unit's symmetric secret: PKCS#8 under PBES2, as in key files. Throws `KeyError` passphrase-.... */
export function protectUnitSecret(
  secret: Uint8Array,
  keyName: string,
  secrets: SecretSource,
): Promise<string> {
  return protectUnitKey(writeSecretKeyInfo('mac', secret, false), keyName, secrets);
}

/** The same for a private key, given as DER PrivateKeyInfo; it is zeroed. */
export async function protectUnitKey(
  info: Uint8Array,
  keyName: string,
  secrets: SecretSource,
): Promise<string> {
  const request = { keyName, purpose: 'working', fresh: true } as const;
  const encrypted = await withSecret(secrets.passphrase(request), (passphrase) =>
    withSecret(Promise.resolve(info), (plain) => encryptPrivateKeyInfo(plain, passphrase)),
  );
  return toPem(LABEL, encrypted);
}

/** Opens a unit's symmetric secret; the caller zeroes it. Throws `KeyError` passphrase-..., key-file-damaged. */
export async function openUnitSecret(
  pem: string,
  keyName: string,
  secrets: SecretSource,
): Promise<Uint8Array> {
  const encrypted = onePem(pem, LABEL);
  const request = { keyName, purpose: 'working', fresh: false } as const;
  const plain = withSecret(secrets.passphrase(request), (passphrase) =>
    decryptPrivateKeyInfo(encrypted, passphrase),
  );
  return withSecret(plain, (whole) => {
    const info = readDecrypted(whole);
    if (info.kind === 'mac') return new Uint8Array(info.privateKey);
    throw otherKind(keyName, 'a secret key');
  });
}

/** Opens a unit's private key: DER PrivateKeyInfo, which the caller zeroes. Throws as `openUnitSecret`. */
export function openUnitKey(pem: string, keyName: string, secrets: SecretSource): Promise<Uint8Array> {
  const encrypted = onePem(pem, LABEL);
  const request = { keyName, purpose: 'working', fresh: false } as const;
  const plain = withSecret(secrets.passphrase(request), (passphrase) =>
    decryptPrivateKeyInfo(encrypted, passphrase),
  );
  return withSecret(plain, (whole) => {
    if (readDecrypted(whole).kind === 'p256') return new Uint8Array(whole);
    throw otherKind(keyName, 'a P-256 private key');
  });
}

function otherKind(keyName: string, wanted: string): KeyError {
  return new KeyError(
    'key-purpose',
    `The unit's secret ${keyName} is not ${wanted}.`,
    'The unit file was put together from two: provision the unit again.',
  );
}

/** A signer over a private key of the unit's own, given as DER PrivateKeyInfo; it is zeroed. Throws `KeyError` key-file-damaged. */
export function unitSigner(info: Uint8Array): Signer {
  try {
    return softwareSigner(importPrivateKey(info));
  } finally {
    info.fill(0);
  }
}

/** The same for one that is kept as an encrypted PEM text. Throws `KeyError` passphrase-..., key-file-damaged. */
export async function openUnitSigner(pem: string, keyName: string, secrets: SecretSource): Promise<Signer> {
  const encrypted = onePem(pem, LABEL);
  const request = { keyName, purpose: 'working', fresh: false } as const;
  const plain = await withSecret(secrets.passphrase(request), (passphrase) =>
    decryptPrivateKeyInfo(encrypted, passphrase),
  );
  readDecrypted(plain);
  return unitSigner(plain);
}

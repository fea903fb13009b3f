/**
 * Passphrase protection of key files: EncryptedPrivateKeyInfo (RFC 5958 section 3) with PBES2 (RFC 8018
 * section 6.2, syntax in appendix A). Written with PBKDF2-HMAC-SHA256 at 600,000 rounds and AES-256-CBC,
 * which OpenSSL reads; read with the neighbours in the tables below too.
 */
import { createCipheriv, createDecipheriv, pbkdf2, randomBytes } from 'node:crypto';
import { promisify } from 'node:util';
import { concat } from '../bytes/index.ts';
import { DerError, type DerReader, der, readDer } from '../x509/index.ts';
import { KeyError } from './error.ts';

/** What protects a key file. */
export interface Protection {
  readonly kdf: string;
  readonly rounds: number;
  readonly cipher: string;
}

interface Pbes2Parameters extends Protection {
  readonly salt: Uint8Array;
  readonly digest: string;
  readonly cipherName: string;
  readonly keyLength: number;
  readonly iv: Uint8Array;
}

/** Rounds of PBKDF2 in files written here: common practice for HMAC-SHA-256 (2023 and later). */
export const PBKDF2_ROUNDS = 600_000;

const OID = { pbes2: '1.2.840.113549.1.5.13', pbkdf2: '1.2.840.113549.1.5.12' };
const HMAC_SHA256 = '1.2.840.113549.2.9';
const AES_256_CBC = '2.16.840.1.101.3.4.1.42';
/** Rounds of PBKDF2 that are carried out for a file: some ten seconds of work. */
export const MOST_ROUNDS = 20_000_000;
const SALT_LENGTH = 16;
const IV_LENGTH = 16;

// RFC 8018 appendix B.1.2.
const PRFS: Readonly<Record<string, { digest: string; name: string }>> = {
  [HMAC_SHA256]: { digest: 'sha256', name: 'PBKDF2-HMAC-SHA256' },
  '1.2.840.113549.2.10': { digest: 'sha384', name: 'PBKDF2-HMAC-SHA384' },
  '1.2.840.113549.2.11': { digest: 'sha512', name: 'PBKDF2-HMAC-SHA512' },
};

// RFC 8018 appendix B.2.5, NIST CSOR.
const CIPHERS: Readonly<Record<string, { cipherName: string; keyLength: number; name: string }>> = {
  '2.16.840.1.101.3.4.1.2': { cipherName: 'aes-128-cbc', keyLength: 16, name: 'AES-128-CBC' },
  '2.16.840.1.101.3.4.1.22': { cipherName: 'aes-192-cbc', keyLength: 24, name: 'AES-192-CBC' },
  [AES_256_CBC]: { cipherName: 'aes-256-cbc', keyLength: 32, name: 'AES-256-CBC' },
};

const derive = promisify(pbkdf2);

/** Encrypts a PrivateKeyInfo. `passphrase`: bytes as typed. Returns DER of an EncryptedPrivateKeyInfo. */
export async function encryptPrivateKeyInfo(info: Uint8Array, passphrase: Uint8Array): Promise<Uint8Array> {
  const salt = randomBytes(SALT_LENGTH);
  const iv = randomBytes(IV_LENGTH);
  const key = await derive(passphrase, salt, PBKDF2_ROUNDS, 32, 'sha256');
  const cipher = createCipheriv('aes-256-cbc', key, iv);
  key.fill(0);
  const encrypted = Buffer.concat([cipher.update(info), cipher.final()]);
  return der.sequence(writeParameters(salt, iv), der.octetString(encrypted));
}

/**
 * Decrypts an EncryptedPrivateKeyInfo. Returns the plain bytes, to be zeroed by the caller. Throws `KeyError`
 * key-file-damaged, key-protection-unsupported, passphrase-wrong.
 */
export async function decryptPrivateKeyInfo(bytes: Uint8Array, passphrase: Uint8Array): Promise<Uint8Array> {
  const { parameters, encrypted } = readEncrypted(bytes);
  const { salt, rounds, keyLength, digest, cipherName, iv } = parameters;
  const key = await derive(passphrase, salt, rounds, keyLength, digest);
  const decipher = createDecipheriv(cipherName, key, iv);
  key.fill(0);
  try {
    const head = decipher.update(encrypted);
    const plain = concat(head, decipher.final());
    head.fill(0);
    return plain;
  } catch {
    throw wrongPassphrase();
  }
}

/** What protects a key file, without opening it. Throws `KeyError` as `decryptPrivateKeyInfo`. */
export function readProtection(bytes: Uint8Array): Protection {
  const { kdf, rounds, cipher } = readEncrypted(bytes).parameters;
  return { kdf, rounds, cipher };
}

/** The one answer to bytes that do not decrypt: CBC cannot tell a wrong passphrase from changed bytes. */
export function wrongPassphrase(): KeyError {
  return new KeyError(
    'passphrase-wrong',
    'The passphrase does not open this key file. It is the wrong passphrase, or the file was changed.',
    'Try the passphrase again (mind keyboard layout and capital letters); else fetch the file from its backup.',
  );
}

function writeParameters(salt: Uint8Array, iv: Uint8Array): Uint8Array {
  const prf = der.sequence(der.oid(HMAC_SHA256), der.null());
  const kdf = der.sequence(der.octetString(salt), der.integer(PBKDF2_ROUNDS), prf);
  return der.sequence(
    der.oid(OID.pbes2),
    der.sequence(
      der.sequence(der.oid(OID.pbkdf2), kdf),
      der.sequence(der.oid(AES_256_CBC), der.octetString(iv)),
    ),
  );
}

function readEncrypted(bytes: Uint8Array): { parameters: Pbes2Parameters; encrypted: Uint8Array } {
  try {
    return readDer(bytes, (reader) => {
      const info = reader.enter();
      const parameters = readScheme(info.enter());
      const encrypted = info.octetString();
      info.finish();
      return { parameters, encrypted };
    });
  } catch (error) {
    if (!(error instanceof DerError)) throw error;
    throw new KeyError(
      'key-file-damaged',
      `The key file is not an EncryptedPrivateKeyInfo (${error.message}).`,
      'It was cut off or edited: fetch it from its backup.',
    );
  }
}

function readScheme(scheme: DerReader): Pbes2Parameters {
  requireKnown(scheme.oid() === OID.pbes2, 'an encryption scheme older than PBES2');
  const parameters = scheme.enter();
  scheme.finish();
  const kdf = readKdf(parameters.enter());
  const cipher = readCipher(parameters.enter());
  parameters.finish();
  const keyLengthFits = kdf.keyLength === undefined || kdf.keyLength === cipher.keyLength;
  requireKnown(keyLengthFits, 'a key length that does not fit its cipher');
  return { ...kdf, ...cipher };
}

function readKdf(reader: DerReader) {
  requireKnown(reader.oid() === OID.pbkdf2, 'a key derivation other than PBKDF2');
  const parameters = reader.enter();
  reader.finish();
  const salt = parameters.octetString();
  const rounds = parameters.unsigned();
  const keyLength = parameters.peek() === 0x02 ? parameters.unsigned() : undefined;
  const prf = PRFS[parameters.atEnd ? 'hmacWithSHA1, the default' : readPrf(parameters.enter())];
  parameters.finish();
  requireKnown(prf !== undefined, 'PBKDF2 with a hash other than SHA-256, SHA-384 or SHA-512');
  requireKnown(rounds >= 1 && rounds <= MOST_ROUNDS, `${rounds} rounds of PBKDF2`);
  return { kdf: prf!.name, digest: prf!.digest, salt, rounds, keyLength };
}

function readPrf(reader: DerReader): string {
  const oid = reader.oid();
  if (!reader.atEnd) reader.null();
  reader.finish();
  return oid;
}

function readCipher(reader: DerReader) {
  const known = CIPHERS[reader.oid()];
  requireKnown(known !== undefined, 'a cipher other than AES-CBC');
  const iv = reader.octetString();
  reader.finish();
  requireKnown(iv.length === IV_LENGTH, 'an initialization vector of the wrong length');
  return { cipher: known!.name, cipherName: known!.cipherName, keyLength: known!.keyLength, iv };
}

function requireKnown(known: boolean, found: string): void {
  if (known) return;
  throw new KeyError(
    'key-protection-unsupported',
    `The key file is protected by ${found}; this program reads PBES2 with PBKDF2 and AES-CBC.`,
    'Convert it: openssl pkcs8 -topk8 -v2 aes-256-cbc -v2prf hmacWithSHA256 -iter 600000 -in OLD -out NEW',
  );
}

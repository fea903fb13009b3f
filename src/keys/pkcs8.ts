/**
 * PrivateKeyInfo (RFC 5958 section 2, PKCS#8): the plain form of a key before it is encrypted. Secret keys
 * use the same frame: algorithm hmacWithSHA256 (RFC 8018 appendix B.1.2) for MACs or id-aes256-wrap or id-aes128-wrap
 * (RFC 3565 section 2.3.2) for wrapping, and the key's bytes as the private key. So do HSS/LMS keys, whose private form no
 * standard gives (RFC 9802): algorithm id-alg-hss-lms-hashsig, and a master secret of our own.
 */
import { concat } from '../bytes/index.ts';
import { contextTag, DerError, type DerReader, der, readDer, TAG } from '../x509/index.ts';
import { KeyError } from './error.ts';

/** Mark inside every key made in a trial workspace: its friendlyName, so that it travels with the key. */
export const TRIAL_MARK = 'fieldseal TRIAL key';

/** Algorithms whose keys are kept in files, with the key's kind. RFC 5480, RFC 8410, RFC 8018, RFC 3565. */
const ALGORITHMS = {
  '301306072a8648ce3d020106082a8648ce3d030107': 'p256',
  '300506032b6570': 'ed25519',
  '300c06082a864886f70d02090500': 'mac',
  '300b060960864801650304012d': 'wrap',
  '300b0609608648016503040105': 'wrap-128',
  '300d060b2a864886f70d0109100311': 'hss-lms',
} as const;
const FRIENDLY_NAME = '1.2.840.113549.1.9.20'; // RFC 2985 section 5.5.1
const SECRET_ALGORITHM = {
  mac: der.sequence(der.oid('1.2.840.113549.2.9'), der.null()),
  wrap: der.sequence(der.oid('2.16.840.1.101.3.4.1.45')),
  'wrap-128': der.sequence(der.oid('2.16.840.1.101.3.4.1.5')),
  'hss-lms': der.sequence(der.oid('1.2.840.113549.1.9.16.3.17')),
};

/** Kind of a key in a file. */
export type FileKeyKind = (typeof ALGORITHMS)[keyof typeof ALGORITHMS];

/** Kinds whose file holds bytes of ours, and not a key that OpenSSL knows. */
export type SecretKeyKind = keyof typeof SECRET_ALGORITHM;

/**
 * A PrivateKeyInfo, read. `privateKey`: content of its OCTET STRING, a view. `trial`: bears the trial mark.
 */
export interface PrivateKeyInfo {
  readonly kind: FileKeyKind;
  readonly privateKey: Uint8Array;
  readonly trial: boolean;
}

/** Reads a PrivateKeyInfo. Throws `DerError` where it is none, `KeyError` key-type-unsupported. */
export function readPrivateKeyInfo(bytes: Uint8Array): PrivateKeyInfo {
  return readDer(bytes, (reader) => {
    const info = reader.enter();
    const version = info.unsigned(1);
    const kind = kindOf(info.element(TAG.sequence).whole);
    const privateKey = info.octetString();
    const names = info.enterOptional(contextTag(0, 'constructed'))?.each(friendlyNameOf) ?? [];
    if (version === 1) info.optional(contextTag(1, 'primitive'));
    info.finish();
    return { kind, privateKey, trial: names.includes(TRIAL_MARK) };
  });
}

/** PrivateKeyInfo of a secret key: `secret` is its bytes. To be zeroed by the caller. */
export function writeSecretKeyInfo(kind: SecretKeyKind, secret: Uint8Array, trial: boolean): Uint8Array {
  return writeInfo(SECRET_ALGORITHM[kind], der.octetString(secret), trial);
}

/** The same PrivateKeyInfo with the trial mark, or without attributes. To be zeroed by the caller. */
export function markPrivateKeyInfo(bytes: Uint8Array, trial: boolean): Uint8Array {
  return readDer(bytes, (reader) => {
    const info = reader.enter();
    info.unsigned(1);
    const algorithm = info.element(TAG.sequence).whole;
    return writeInfo(algorithm, new Uint8Array(info.element(TAG.octetString).whole), trial);
  });
}

// `privateKey` is a copy made for this call; it is zeroed once it stands in the result.
function writeInfo(algorithm: Uint8Array, privateKey: Uint8Array, trial: boolean): Uint8Array {
  const attributes = trial ? [der.constructed(0, friendlyName(TRIAL_MARK))] : [];
  const info = der.sequence(der.integer(0), algorithm, privateKey, ...attributes);
  privateKey.fill(0);
  return info;
}

function friendlyName(text: string): Uint8Array {
  const utf16 = concat(...[...text].map((letter) => Uint8Array.of(0, letter.charCodeAt(0))));
  return der.sequence(der.oid(FRIENDLY_NAME), der.setOf(der.element(TAG.bmpString, utf16)));
}

function friendlyNameOf(attributes: DerReader): string | undefined {
  const attribute = attributes.enter();
  const type = attribute.oid();
  const value = attribute.enter(TAG.set).any();
  attribute.finish();
  if (type !== FRIENDLY_NAME) return undefined;
  if (value.tag !== TAG.bmpString || value.content.length % 2 !== 0) {
    throw new DerError('string-malformed', value.contentStart);
  }
  return Buffer.from(value.content).swap16().toString('utf16le');
}

function kindOf(algorithm: Uint8Array): FileKeyKind {
  const kind = ALGORITHMS[Buffer.from(algorithm).toString('hex') as keyof typeof ALGORITHMS];
  if (kind) return kind;
  throw new KeyError(
    'key-type-unsupported',
    'The key file holds a key that is neither P-256, Ed25519 nor HSS/LMS, nor a secret key for HMAC-SHA-256 or AES key wrap.',
    'Make a key with this program, or convert one of these kinds.',
  );
}

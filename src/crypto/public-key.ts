import { createPublicKey, type KeyObject, verify } from 'node:crypto';
import { ByteMap, toHex } from '../bytes/index.ts';
import { isSoundPoint } from './ed25519-points.ts';
import { leafIn, type SpentLeaf } from './hss-lms/leaf.ts';
import { type HssPublicKey, readHssPublicKey, verifyHss } from './hss-lms/verify.ts';
import { sha256 } from './primitives.ts';
import { ed25519KeyOf, hssKeyOf, type KeyType, spkiKeyType } from './spki.ts';

interface CommonKey {
  /** DER SubjectPublicKeyInfo (RFC 5280 section 4.1.2.7). */
  readonly spki: Uint8Array;
  /** SHA-256 of the SubjectPublicKeyInfo, lower-case hexadecimal: the name of the key in lists and records. */
  readonly fingerprint: string;
}

/** A public key, parsed once and kept: importing a key costs more than verifying with it. */
export type PublicKey =
  | (CommonKey & { readonly type: Exclude<KeyType, 'hss-lms'>; readonly handle: KeyObject })
  | (CommonKey & { readonly type: 'hss-lms'; readonly hss: HssPublicKey });

const KEY_CACHE_LIMIT = 256;
const keyCache = new ByteMap<PublicKey>(KEY_CACHE_LIMIT);

/**
 * Reads a DER SubjectPublicKeyInfo. Only the named curve P-256 (RFC 5480), Ed25519 (RFC 8410) and HSS/LMS (RFC 9802)
 * are known; anything else gives `undefined`: explicit curve parameters, the hybrid point form, BER, bytes after the end.
 * Under a key that is not sound, see `isSoundKey`, nothing verifies.
 */
export function readPublicKey(spki: Uint8Array): PublicKey | undefined {
  const known = keyCache.get(spki);
  if (known) return known;
  const type = spkiKeyType(toHex(spki));
  const key = type && importKey(type, new Uint8Array(spki));
  if (key) keyCache.add(spki, key);
  return key;
}

/**
 * Whether a key is one that somebody can hold for himself: an Ed25519 key of small order, or in another form than its own, is
 * none. It must not come in where keys do.
 */
export function isSoundKey(key: PublicKey): boolean {
  return key.type !== 'ed25519' || isSoundPoint(ed25519KeyOf(key.spki));
}

/** As `readPublicKey`; undefined, too, for a key that is not sound. */
export function readSoundKey(spki: Uint8Array): PublicKey | undefined {
  const key = readPublicKey(spki);
  return key && isSoundKey(key) ? key : undefined;
}

/**
 * Verifies a raw signature over `message`: r||s, 64 bytes, for P-256 with SHA-256 (RFC 9053 section 2.1), 64 bytes of
 * pure Ed25519 (RFC 8032), an HSS signature (RFC 8554 section 6.2). False for every malformed input, and where a point of an
 * Ed25519 signature or its key is not sound; never throws on data.
 */
export function verifySignature(key: PublicKey, message: Uint8Array, signature: Uint8Array): boolean {
  if (key.type === 'hss-lms') return verifyHss(key.hss, message, signature);
  if (signature.length !== 64) return false;
  if (!isSoundKey(key) || (key.type === 'ed25519' && !isSoundPoint(signature.subarray(0, 32)))) return false;
  try {
    return key.type === 'p256'
      ? verify('sha256', message, { key: key.handle, dsaEncoding: 'ieee-p1363' }, signature)
      : verify(null, message, key.handle, signature);
  } catch {
    return false;
  }
}

/** The one-time leaf that an HSS/LMS signature used; undefined for other keys and malformed signatures. */
export function spentLeaf(key: PublicKey, signature: Uint8Array): SpentLeaf | undefined {
  return key.type === 'hss-lms' ? leafIn(key.hss, signature) : undefined;
}

function importKey(type: KeyType, spki: Uint8Array): PublicKey | undefined {
  const fingerprint = toHex(sha256(spki));
  if (type === 'hss-lms') {
    const hss = readHssPublicKey(hssKeyOf(spki));
    return hss && { type, spki, fingerprint, hss };
  }
  try {
    return {
      type,
      spki,
      fingerprint,
      handle: createPublicKey({ key: Buffer.from(spki), format: 'der', type: 'spki' }),
    };
  } catch {
    return undefined;
  }
}

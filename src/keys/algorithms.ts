/**
 * The algorithms that keys of this product serve, out of COSE's table. Legacy ones are checked, never signed
 * with.
 */
import {
  type MacAlgorithm,
  macAlgorithm,
  type SignatureAlgorithm,
  signatureAlgorithm,
} from '../cose/index.ts';
import type { KeyType } from '../crypto/index.ts';
import { KeyError } from './error.ts';

const ESP256 = -9; // RFC 9864
const ED25519 = -19; // RFC 9864
const HSS_LMS = -46; // RFC 8778
const HMAC_256_256 = 5; // RFC 9053 section 3.1

/** Key types that sign without a state. */
export type SigningKeyType = 'p256' | 'ed25519';

/** Narrows a key type to those that sign without a state. Throws `KeyError` key-type-unsupported. */
export function requireSigningType(type: KeyType): SigningKeyType {
  if (type === 'p256' || type === 'ed25519') return type;
  throw new KeyError(
    'key-type-unsupported',
    `Keys of the type ${type} are not made or used in this way.`,
    'Use p256 or ed25519. HSS/LMS keys are for signers.',
  );
}

/** Algorithm that a key of this type signs with. */
export function signingAlgorithm(type: SigningKeyType): SignatureAlgorithm {
  return signatureAlgorithm(type === 'p256' ? ESP256 : ED25519)!;
}

/** Algorithm of HSS/LMS keys. */
export const HSS_LMS_ALGORITHM: SignatureAlgorithm = signatureAlgorithm(HSS_LMS)!;

/** Algorithm of class and cohort keys. */
export const HMAC_ALGORITHM: MacAlgorithm = macAlgorithm(HMAC_256_256)!;

/** The algorithms that keys of this product serve, out of COSE's table. Legacy ones are checked, never signed with. */
import {
  type MacAlgorithm,
  macAlgorithm,
  type SignatureAlgorithm,
  signatureAlgorithm,
} from '../cose/index.ts';
import type { KeyType } from '../crypto/index.ts';

const ESP256 = -9; // RFC 9864
const ED25519 = -19; // RFC 9864
const HMAC_256_256 = 5; // RFC 9053 section 3.1

/** Algorithm that a key of this type signs with. */
export function signingAlgorithm(type: KeyType): SignatureAlgorithm {
  return signatureAlgorithm(type === 'p256' ? ESP256 : ED25519)!;
}

/** Algorithm of class and cohort keys. */
export const HMAC_ALGORITHM: MacAlgorithm = macAlgorithm(HMAC_256_256)!;

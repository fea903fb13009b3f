/** An Ed25519 key that hides nothing, and the one signature that everybody can make with it over anything. */
import type { Signer } from '../../cose/index.ts';
import { ed25519Spki } from '../../crypto/index.ts';
import type { Hand } from './throwaway.ts';

/**
 * The neutral point of the curve, of order 1 ("Taming the Many EdDSAs", IACR ePrint 2020/1244): for R = this point and S = 0 the
 * equation of RFC 8032 section 5.1.7, S B = R + k A, holds whatever was signed.
 */
const NEUTRAL = Uint8Array.from({ length: 32 }, (_, i) => (i === 0 ? 1 : 0));

export const EVERYBODYS_KEY = ed25519Spki(NEUTRAL);
/** R and S. */
export const EVERYBODYS_SIGNATURE = Uint8Array.from({ length: 64 }, (_, i) => (i === 0 ? 1 : 0));

/** Signs as anybody can, under the algorithm of a signer whose key is of the same kind. */
export function everybody({ signer }: Hand): Signer {
  return {
    algorithm: signer.algorithm,
    publicKey: EVERYBODYS_KEY,
    sign: async () => EVERYBODYS_SIGNATURE,
  };
}

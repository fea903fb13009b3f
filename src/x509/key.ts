/** Public keys as people and lists name them: fingerprints, key identifiers, and keys that everybody knows. */
import { toHex } from '../bytes/index.ts';
import { readPublicKey, sha1ForNames, sha256 } from '../crypto/index.ts';
import { readDer, TAG } from './der.ts';

/** SHA-256 of a DER SubjectPublicKeyInfo, lower-case hexadecimal: how deny lists and records name a key. */
export function fingerprint(spki: Uint8Array): string {
  return readPublicKey(spki)?.fingerprint ?? toHex(sha256(spki));
}

/** A fingerprint in groups of four digits, for reading aloud and comparing: `ade2 dad6 1171 ...`. */
export function fingerprintText(spki: Uint8Array): string {
  return fingerprint(spki).replace(/....(?=.)/g, '$& ');
}

/** A key identifier of 20 bytes: SHA-1 over the key's bits, as a name and no proof (RFC 5280 section 4.2.1.2 (1)). */
export function keyIdentifier(spki: Uint8Array): Uint8Array {
  const bits = readDer(spki, (reader) => {
    const inner = reader.enter();
    inner.element(TAG.sequence);
    return inner.bitStringBytes();
  });
  return sha1ForNames(bits);
}

/** Keys that stand in published examples with their private halves: whoever reads the document can sign. */
export const PUBLISHED_EXAMPLE_KEYS: readonly { readonly fingerprint: string; readonly source: string }[] = [
  {
    fingerprint: 'ade2dad611717e910e295db3ba086fc40490b0daacfc23aace9348077b839b17',
    source: 'signer of draft-ietf-suit-manifest appendix B, also in trust-domains and firmware-encryption',
  },
  {
    fingerprint: 'b1e6d37be35d4246d596cb5dea54c113d8e7b5152c81709fb08dc002f914a31e',
    source: 'dependent signer of draft-ietf-suit-firmware-encryption section 9.4',
  },
  {
    fingerprint: '6dfa3012ee45ad4ecaafc47d1f727440968071137dfad918cae096cd0bf2d426',
    source: 'receiver of draft-ietf-suit-firmware-encryption section 6.1.3',
  },
  {
    fingerprint: '75953bb3e8e058f8d396b0076621603497fb3ee8f422238196704e0e2d0ff8ed',
    source: 'HSS key of RFC 8554 appendix F, test case 2, whose seeds stand there',
  },
  {
    fingerprint: 'f695001ff73e15084ea554ac8c0b684aae476f5cab38caaa724aaa47d4f204aa',
    source: 'top tree of RFC 8554 appendix F, test case 2, as a key of one level: COSE example hashsig-01',
  },
  {
    fingerprint: '10791d3d8fcd55c9c9e2a586687bf46f096c02525610b99d6a67e30c5225019c',
    source: 'HSS key of RFC 9858 appendix A.1, whose seed stands there',
  },
];

const EXAMPLE_SECRET_BYTE = 0x61;

/** Whether a public key is one of the published examples: such a key must never count outside tests. */
export function isPublishedExampleKey(spki: Uint8Array): boolean {
  const found = fingerprint(spki);
  return PUBLISHED_EXAMPLE_KEYS.some((row) => row.fingerprint === found);
}

/**
 * Whether a secret is a run of ASCII 'a', as the examples of draft-ietf-suit-firmware-encryption (6.1.2, 9) use.
 * Reads every byte whatever it finds, so its duration tells nothing of the secret.
 */
export function isPublishedExampleSecret(secret: Uint8Array): boolean {
  const difference = secret.reduce((sum, byte) => sum | (byte ^ EXAMPLE_SECRET_BYTE), 0);
  return secret.length > 0 && difference === 0;
}

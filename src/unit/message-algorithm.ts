import { type AeadAlgorithm, type ContentAlgorithm, contentAlgorithm } from '../cose/index.ts';

/** AES-GCM by the length of its key in bytes. */
const GCM: Readonly<Record<number, number>> = { 16: 1, 32: 3 };

/**
 * How messages to units are encrypted, given how their profile encrypts images: in the same way where that has a tag, else
 * by AES-GCM with as long a key (docs/deployment-profile.md).
 */
export function messageAlgorithm(content: ContentAlgorithm): AeadAlgorithm {
  return content.mode === 'aead' ? content : (contentAlgorithm(GCM[content.keyLength]!) as AeadAlgorithm);
}

const REFUSALS = {
  'alg-missing': 'the encrypted message names no algorithm for its content',
  'alg-unprotected':
    'the algorithm stands in the unprotected header, where anyone can change it (RFC 9052 section 3.1)',
  'alg-unsupported': 'the content is encrypted with an algorithm that is not known here',
  'alg-not-permitted': 'the content is encrypted with an algorithm that is not permitted here',
  'protected-not-empty':
    'AES-CTR authenticates no header, so its protected header has no bytes (RFC 9459 section 4)',
  'iv-missing': 'the message carries no complete IV (RFC 9052 section 3.1)',
  'iv-length': 'the IV has not the length that its algorithm asks for',
  'crit-malformed': 'crit is unprotected, or names a parameter that is not protected (RFC 9052 section 3.1)',
  'crit-not-understood': 'crit names a parameter that is not understood here (RFC 9052 section 3.1)',
  'recipient-unsupported':
    'no recipient conveys the content key in a way known here: A128KW, A192KW, A256KW, ECDH-ES with each, direct',
  'recipient-absent': 'none of the recipients is for a key held here',
  'recipient-malformed':
    'a recipient has not the headers that its algorithm asks for (RFC 9053 sections 6.1.1, 6.2.1, 6.4.1)',
  'direct-not-alone': 'a directly used key has no other recipient beside it (RFC 9052 section 8.5.1)',
  'ephemeral-key-wrong': 'the ephemeral public key of a recipient is none on the curve of the key held here',
  'content-key-wrong':
    'the wrapped content key does not open: it was changed, or wrapped under another key (RFC 3394 section 2.2.3)',
  'content-key-length': 'the content key has not the length that the content algorithm asks for',
  'ciphertext-detached': 'the message does not carry its ciphertext, where it must',
  'ciphertext-attached': 'an encryption info carries its ciphertext, which belongs apart from it',
  'ciphertext-short': 'the ciphertext is shorter than its tag',
  'ciphertext-changed': 'the tag does not fit: ciphertext or header were changed, or the key is another one',
  'plaintext-differs': 'what was decrypted has not the digest it should have',
} as const;

/** Why something encrypted was not decrypted. */
export type EncryptionRefusal = keyof typeof REFUSALS;

/** The 'no' of a decryption. */
export interface Refused {
  readonly ok: false;
  readonly code: EncryptionRefusal;
  readonly detail: string;
}

export function refused(code: EncryptionRefusal): Refused {
  return { ok: false, code, detail: REFUSALS[code] };
}

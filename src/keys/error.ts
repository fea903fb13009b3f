/**
 * What goes wrong with keys and secrets: a closed list, so that callers and scripts can tell the cases apart.
 */
export type KeyErrorCode =
  | 'passphrase-missing'
  | 'passphrase-weak'
  | 'passphrase-mismatch'
  | 'passphrase-wrong'
  | 'secret-unreadable'
  | 'prompt-cancelled'
  | 'pin-missing'
  | 'pin-wrong'
  | 'pin-locked'
  | 'pin-last-try'
  | 'key-file-missing'
  | 'key-file-exists'
  | 'key-file-unreadable'
  | 'key-file-unwritable'
  | 'key-file-damaged'
  | 'key-protection-unsupported'
  | 'key-type-unsupported'
  | 'key-description-invalid'
  | 'key-differs'
  | 'key-trial'
  | 'key-published'
  | 'key-purpose'
  | 'key-custody'
  | 'signature-faulty'
  | 'wrap-input'
  | 'wrap-changed'
  | 'wrap-untrusted'
  | 'token-software-absent'
  | 'token-module-missing'
  | 'token-module-unloadable'
  | 'token-uri'
  | 'token-absent'
  | 'token-ambiguous'
  | 'token-write-protected'
  | 'token-mechanism'
  | 'token-failed'
  | 'token-key-absent'
  | 'token-key-ambiguous'
  | 'token-key-exists'
  | 'token-key-weak'
  | 'token-key-used-up'
  | 'exchange-file-damaged'
  | 'exchange-key-differs'
  | 'exchange-chain'
  | 'exchange-fingerprint';

/**
 * A key or secret that could not be made, opened or used. The message says what happened and what it means,
 * `hint` what to do next. Neither ever holds a passphrase, a PIN or key material.
 */
export class KeyError extends Error {
  override readonly name = 'KeyError';
  readonly code: KeyErrorCode;
  readonly hint: string;

  constructor(code: KeyErrorCode, message: string, hint: string) {
    super(message);
    this.code = code;
    this.hint = hint;
  }
}

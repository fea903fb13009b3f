/** Why a payload was not sealed, with the exit status a command gives it (1 refused, 2 wrong use, 3 not done). */
export const SEAL_CODES = {
  'version-text': 2,
  'security-version': 2,
  'images-wrong': 2,
  'components-wrong': 2,
  'dependency-wrong': 1,
  'uri-wrong': 2,
  'device-wrong': 2,
  'output-is-input': 2,
  'signer-none': 1,
  'signer-several': 2,
  'signers-too-few': 1,
  'signers-wrong': 2,
  'signer-rights': 1,
  'signer-uncertified': 1,
  'signer-scope': 1,
  'signer-algorithm': 1,
  'signer-unfit': 1,
  'signer-retired': 1,
  'signer-chain': 1,
  'signer-dates': 1,
  'signer-trial': 1,
  'trust-signer-none': 1,
  'trust-not-taken': 1,
  'trust-locks-out': 1,
  'trust-unsound': 2,
  'mac-key-none': 1,
  'message-wrong': 2,
  'recipients-none': 1,
  'recipients-too-many': 1,
  'ciphertext-too-large': 1,
  'delta-unsupported': 1,
  'delta-encrypted': 1,
  'delta-with-parts': 2,
  'delta-not-made': 1,
  'delta-not-smaller': 1,
  'precursor-wrong': 2,
  'envelope-too-large': 1,
  'envelope-unreadable': 1,
  'manifest-changed': 1,
  'release-unknown': 1,
  'signed-already': 1,
  'signature-unsound': 1,
  'approval-needed': 1,
  'approval-own': 1,
  'approval-unknown': 2,
  'approvals-too-few': 1,
  'approved-already': 1,
  'approver-unfit': 1,
  'request-unknown': 2,
  'request-days': 2,
  'request-changed': 1,
  'request-expired': 1,
  'request-used': 1,
  'request-withdrawn': 1,
  'not-as-requested': 1,
  'image-changed': 3,
  'self-check-failed': 3,
} as const;

export type SealCode = keyof typeof SEAL_CODES;

/** Why nothing was sealed. `message` says what happened and what it means; `hint` what to do next. */
export class SealError extends Error {
  override readonly name = 'SealError';

  constructor(
    readonly code: SealCode,
    message: string,
    readonly hint: string,
  ) {
    super(message);
  }

  /** Exit status for a command. */
  get status(): 1 | 2 | 3 {
    return SEAL_CODES[this.code];
  }
}

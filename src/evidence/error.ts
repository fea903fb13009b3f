/** Why no evidence was made, with the exit status a command gives it (1 refused, 2 wrong use). */
const EVIDENCE_CODES = {
  'release-unknown': 2,
  'release-changed': 1,
  'envelope-differs': 1,
  'evidence-foreign': 1,
  'evidence-unreadable': 2,
} as const;

type EvidenceCode = keyof typeof EVIDENCE_CODES;

/** Evidence that could not be made. `message` says what happened; `hint` what to do next. */
export class EvidenceError extends Error {
  override readonly name = 'EvidenceError';

  constructor(
    readonly code: EvidenceCode,
    message: string,
    readonly hint: string,
  ) {
    super(message);
  }

  /** Exit status for a command. */
  get status(): 1 | 2 {
    return EVIDENCE_CODES[this.code];
  }
}

/** Why an incident, or an exposure, could not be told, with the exit status of a command (1 refused, 2 wrong use). */
const CODES = {
  'key-unknown': 2,
  'kind-needs-key': 2,
  'key-of-another-kind': 2,
  'incident-unknown': 2,
  'step-unknown': 2,
  'step-done': 2,
  'steps-open': 1,
  'date-wrong': 2,
} as const;

/** What could not be done, what it means and what to do next. */
export class IncidentError extends Error {
  override readonly name = 'IncidentError';

  constructor(
    readonly code: keyof typeof CODES,
    message: string,
    readonly hint: string,
  ) {
    super(message);
  }

  /** Exit status for a command. */
  get status(): 1 | 2 {
    return CODES[this.code];
  }
}

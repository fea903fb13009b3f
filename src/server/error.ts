/** Every way in which the desk itself says no, with the HTTP status (RFC 9110) and the exit status of a command. */
export const DESK_CODES = {
  'host-unknown': { http: 421, exit: 3 },
  'other-site': { http: 403, exit: 3 },
  'not-entered': { http: 401, exit: 3 },
  'entry-used': { http: 401, exit: 3 },
  'password-wrong': { http: 401, exit: 3 },
  'not-allowed': { http: 403, exit: 3 },
  'too-often': { http: 429, exit: 3 },
  'too-large': { http: 413, exit: 3 },
  'not-there': { http: 404, exit: 3 },
  'request-wrong': { http: 400, exit: 2 },
  'password-weak': { http: 400, exit: 2 },
  'account-name': { http: 400, exit: 2 },
  'account-taken': { http: 409, exit: 2 },
  'account-missing': { http: 404, exit: 2 },
  'accounts-damaged': { http: 500, exit: 3 },
  'depot-unnamed': { http: 409, exit: 2 },
  'address-open': { http: 500, exit: 2 },
  'address-taken': { http: 500, exit: 3 },
} as const;
export type DeskCode = keyof typeof DESK_CODES;

/** What the desk would not do. `message` says what happened and what it means; `hint` what to do next. */
export class DeskError extends Error {
  override readonly name = 'DeskError';
  readonly code: DeskCode;
  readonly hint: string | undefined;

  constructor(code: DeskCode, message: string, hint?: string) {
    super(message);
    this.code = code;
    this.hint = hint;
  }

  /** For the command line. */
  get status(): number {
    return DESK_CODES[this.code].exit;
  }
}

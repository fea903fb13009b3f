/** Why a key or certificate was not made. Closed list. */
export type AuthorityErrorCode =
  | 'root-custody'
  | 'hss-custody'
  | 'root-missing'
  | 'scope-missing'
  | 'scheme-wrong'
  | 'recipients-wrong'
  | 'request-unsuitable'
  | 'certificate-unsuitable'
  | 'authority-folder'
  | 'approver-missing'
  | 'person-missing'
  | 'root-offline'
  | 'serial-unknown';

/** A key or certificate that could not be made; says what it means, and what to do next. */
export class AuthorityError extends Error {
  constructor(
    readonly code: AuthorityErrorCode,
    message: string,
    readonly hint: string,
  ) {
    super(message);
    this.name = 'AuthorityError';
  }
}

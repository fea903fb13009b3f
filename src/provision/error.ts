/** Why provisioning stopped. Closed list. */
export type ProvisionErrorCode =
  | 'job-invalid'
  | 'result-invalid'
  | 'serials-invalid'
  | 'station-key-wrong'
  | 'first-firmware-wrong'
  | 'batch-unknown'
  | 'key-missing'
  | 'root-changed';

/** A provisioning file or request that cannot be worked with; says what happened, and what to do next. */
export class ProvisionError extends Error {
  constructor(
    readonly code: ProvisionErrorCode,
    message: string,
    readonly hint: string,
  ) {
    super(message);
    this.name = 'ProvisionError';
  }
}

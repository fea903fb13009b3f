/** Every way in which the fleet store says no, with the exit status that a command gives it. */
const STATUS = {
  'store-unknown': 2,
  'store-missing': 3,
  'store-unreachable': 3,
  'store-damaged': 3,
  'store-newer': 3,
  'lease-lost': 1,
  'revision-passed': 1,
  'broadcast-under-way': 1,
  'broadcast-not-there': 2,
  'change-not-allowed': 1,
  'unit-malformed': 2,
  'query-malformed': 2,
  'backup-damaged': 3,
  'backup-foreign': 1,
} as const;

export type FleetCode = keyof typeof STATUS;

/** What the store could not or would not do. `message` says what happened and what it means; `hint` what to do next. */
export class FleetError extends Error {
  override readonly name = 'FleetError';
  readonly code: `fleet-${FleetCode}`;
  readonly status: number;

  constructor(
    code: FleetCode,
    message: string,
    readonly hint: string,
    cause?: unknown,
  ) {
    super(message, cause === undefined ? undefined : { cause });
    this.code = `fleet-${code}`;
    this.status = STATUS[code];
  }
}

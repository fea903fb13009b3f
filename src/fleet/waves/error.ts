const STATUS = {
  'plan-other-class': 2,
  'stepping-stone': 2,
  'no-broadcast': 2,
  'pilot-empty': 1,
  'pilot-hardware': 1,
  'not-possible': 1,
  'image-differs': 2,
  'nothing-before': 2,
  'floor-forbids': 1,
} as const;

/** What waves could not or would not do, with the exit status of a command. */
export class WavesError extends Error {
  override readonly name = 'WavesError';
  readonly code: string;
  readonly status: number;

  constructor(
    code: keyof typeof STATUS,
    message: string,
    readonly hint: string,
  ) {
    super(message);
    this.code = `waves-${code}`;
    this.status = STATUS[code];
  }
}

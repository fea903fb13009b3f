const STATUS = {
  expiry: 2,
  signer: 2,
  envelope: 2,
  image: 2,
  broker: 3,
  overtaken: 3,
  memory: 3,
  depot: 3,
} as const;
type BroadcastCode = keyof typeof STATUS;

/** What a broadcast could not or would not do, with the exit status of a command. */
export class BroadcastError extends Error {
  override readonly name = 'BroadcastError';
  readonly code: string;
  readonly hint: string;
  readonly status: number;

  constructor(code: BroadcastCode, message: string, hint: string) {
    super(message);
    this.code = `broadcast-${code}`;
    this.hint = hint;
    this.status = STATUS[code];
  }
}

/** What a broadcast could not or would not do, with the exit status of a command. */
export class BroadcastError extends Error {
  override readonly name = 'BroadcastError';
  readonly code: string;
  readonly hint: string;
  readonly status: number;

  constructor(code: 'expiry' | 'signer' | 'envelope' | 'image' | 'broker', message: string, hint: string) {
    super(message);
    this.code = `broadcast-${code}`;
    this.hint = hint;
    this.status = code === 'broker' ? 3 : 2;
  }
}

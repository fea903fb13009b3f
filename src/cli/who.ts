import { userInfo } from 'node:os';
import type { Call } from './spec.ts';

/** Who orders something, for the record: --by, or whom the system knows. */
export function whoOf(call: Call): string {
  return call.text('by') ?? userInfo().username;
}

import type { KeyType } from '../crypto/index.ts';
import type { Call } from './spec.ts';

/** The key type that --algorithm asks for; P-256 where it is not given. */
export function keyTypeOf(call: Call): KeyType {
  return (call.text('algorithm') as KeyType | undefined) ?? 'p256';
}

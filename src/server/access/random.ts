import { createHash, randomBytes } from 'node:crypto';

/** A secret name nobody can guess: 32 random bytes, in base64url. */
export function unguessable(): string {
  return randomBytes(32).toString('base64url');
}

/** What is kept of an unguessable name, so that a look into memory or a file does not give it away. */
export function thumbprint(secret: string): string {
  return createHash('sha256').update(secret).digest('hex');
}

import { toHex } from '../bytes/index.ts';
import { startSha256 } from '../crypto/index.ts';
import type { ProvisionJob } from '../provision/index.ts';
import { fileSource } from '../workspace/index.ts';

/** What a job says of the first firmware: the envelope's digest and size. Null without one. */
export function firstFacts(path: string | undefined): ProvisionJob['first'] {
  if (path === undefined) return null;
  const source = fileSource(path);
  try {
    const digest = startSha256();
    for (const piece of source.pieces()) digest.update(piece);
    return { envelope_sha256: toHex(digest.digest()), size_bytes: source.size };
  } finally {
    source.close();
  }
}

import { equal } from '../bytes/index.ts';
import { sha256 } from '../crypto/index.ts';
import type { Flash } from './flash.ts';
import type { FlashLayout } from './flash-layout.ts';
import type { Marks, TrustMark } from './marks.ts';
import { readTrustPolicy, type TrustPolicy, type TrustState } from './trust-policy.ts';

/** What the unit took from trust updates, read from its marks and its policy area; undefined before the first. */
export function readTrust(flash: Flash, layout: FlashLayout, { trust }: Marks): TrustState | undefined {
  if (!trust) return undefined;
  const { rank, numbers, manifestDigest } = trust;
  return { rank, numbers, manifestDigest, policy: readPolicy(flash, layout, trust) };
}

/** The half that the marks name, or else the other, which is written alike behind it. */
function readPolicy(flash: Flash, { policy }: FlashLayout, mark: TrustMark): TrustPolicy | undefined {
  for (const half of [mark.half, 1 - mark.half]) {
    const span = policy?.[half];
    if (!span || mark.length > span.size) continue;
    const content = flash.read(span.offset, mark.length);
    if (!equal(sha256(content), mark.digest)) continue;
    const read = readTrustPolicy(content);
    if (!('fault' in read)) return read;
  }
  return undefined;
}

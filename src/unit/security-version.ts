import type { Headers } from '../cose/index.ts';

/**
 * Header label of the security version: an unsigned integer in the protected header of the authentication block.
 * It comes from the private-use range (integers below -65536, RFC 9052 section 3.1 and the IANA COSE registry), so
 * that a stranger's processor passes over it; it is never marked critical. Absent means 0.
 */
export const SECURITY_VERSION_LABEL = -70001;

/** Largest security version: what a unit's 32-bit floor can hold. */
export const MAXIMUM_SECURITY_VERSION = 0xffffffff;

/** The security version that the protected header states; 0 where it states none, undefined where it is no count. */
export function readSecurityVersion(headers: Headers): number | undefined {
  const item = headers.protectedGet(SECURITY_VERSION_LABEL);
  if (!item) return 0;
  const counts =
    item.type === 'uint' && typeof item.value === 'number' && item.value <= MAXIMUM_SECURITY_VERSION;
  return counts ? (item.value as number) : undefined;
}

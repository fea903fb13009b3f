import { encode } from '../cbor/index.ts';
import { hkdfSha256 } from '../crypto/index.ts';

const KEY_LENGTH = 32;

/** What a unit MACs, each under a key of its own label: one stands in for no other. */
export type UnitMacPurpose = 'unit-report-key' | 'unit-attestation-key';

/**
 * The key with which one unit of a symmetric class MACs what it says: HKDF-SHA-256 of the class or cohort key, salt the
 * class identifier, info the CBOR array [label, class identifier, device identifier] (RFC 5869 section 2.3). 32 bytes.
 * Whoever holds the class key can make it for every unit.
 */
export function unitMacKey(
  label: UnitMacPurpose,
  classKey: Uint8Array,
  classId: Uint8Array,
  deviceId: Uint8Array,
): Uint8Array {
  return hkdfSha256(classKey, classId, encode([label, classId, deviceId]), KEY_LENGTH);
}

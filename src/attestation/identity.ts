import { concat } from '../bytes/index.ts';
import { sha256 } from '../crypto/index.ts';
import { parseUuid } from '../suit/index.ts';

/** Who a unit is, as it was provisioned. UUIDs in text form. */
export interface UnitNames {
  readonly vendorId: string;
  /** The model's, then the hardware revision's where there is one. */
  readonly classIds: readonly string[];
  readonly deviceId: string;
}

/** A unit's identity in the claims of RFC 9711. */
export interface IdentityClaims {
  /** 17 bytes: type 0x01, then 128 bits hashed from identifiers (RFC 9711 section 4.2.1.1). */
  readonly ueid: Uint8Array;
  /** The vendor identifier, 16 bytes (section 4.2.3.1). */
  readonly oemid: Uint8Array;
  /** The narrowest class identifier, 16 bytes (section 4.2.4). */
  readonly hwmodel: Uint8Array;
}

const RAND = Uint8Array.of(0x01);
const UEID_BYTES = 16;

/** The identity claims of a unit. A UUID is no UEID (RFC 9711 appendix B), so the identifiers are hashed together. */
export function identityOf({ vendorId, classIds, deviceId }: UnitNames): IdentityClaims {
  const oemid = parseUuid(vendorId);
  const hwmodel = parseUuid(classIds.at(-1)!);
  const hashed = sha256(oemid, hwmodel, parseUuid(deviceId));
  return { ueid: concat(RAND, hashed.subarray(0, UEID_BYTES)), oemid, hwmodel };
}

import type { EatClaims, RegionMeasurement } from '../attestation/index.ts';
import { toHex } from '../bytes/index.ts';

/** What a token says, for programs. */
export function claimsJson(told: EatClaims, measured: RegionMeasurement | undefined): object {
  const { nonces, oemid, profile, software } = told;
  const hex = (bytes: Uint8Array | undefined) => (bytes ? toHex(bytes) : null);
  return {
    eat_nonce: nonces.map(toHex),
    ueid: hex(told.ueid),
    oemid: oemid instanceof Uint8Array ? toHex(oemid) : (oemid ?? null),
    hwmodel: hex(told.hwmodel),
    dbgstat: told.dbgstat ?? null,
    eat_profile: profile instanceof Uint8Array ? toHex(profile) : (profile ?? null),
    bootcount: told.bootcount ?? null,
    bootseed: hex(told.bootseed),
    swname: told.swname ?? null,
    swversion: told.swversion ?? null,
    software: software
      ? {
          manifest_digest: toHex(software.manifestDigest),
          sequence_number: String(software.sequenceNumber),
        }
      : null,
    measurement: measured
      ? {
          area: measured.area,
          address: measured.address,
          size_bytes: measured.length,
          digest: toHex(measured.digest),
          manifest_digest: hex(measured.manifestDigest),
        }
      : null,
    measres: told.results,
    boots: told.boots.map(({ count, kind, runs, sequenceNumber, failures }) => ({
      count,
      kind,
      runs: runs ?? null,
      sequence_number: String(sequenceNumber),
      failures,
    })),
  };
}

import type { EatClaims, RegionMeasurement } from '../attestation/index.ts';
import { toHex } from '../bytes/index.ts';
import type { Output } from './output.ts';
import { plain } from './show-verdict.ts';

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

/** What a token says, for people. */
export function showClaimsSet(out: Output, told: EatClaims, measured: RegionMeasurement | undefined): void {
  const { software, boots } = told;
  if (software) {
    out.fact('runs', `${plain(told.swversion ?? 'no version')}, sequence number ${software.sequenceNumber}`);
    out.fact('manifest', toHex(software.manifestDigest));
  } else out.fact('runs', 'the recovery image');
  if (measured) {
    out.fact('measured', `${plain(measured.area)}, 0x${measured.address.toString(16)}, ${measured.length} B`);
    out.fact('measurement', toHex(measured.digest));
  }
  out.fact('debug port', told.dbgstat ?? 'not stated');
  out.fact(
    'start',
    `${told.bootcount ?? 'not counted'}, seed ${told.bootseed ? toHex(told.bootseed) : 'none'}`,
  );
  for (const { system, results } of told.results)
    for (const { id, result } of results) out.fact(plain(system), `${plain(id)}: ${result}`);
  for (const { count, kind, runs, failures } of boots)
    out.fact(`start ${count}`, plain([kind, `runs ${runs ?? 'nothing'}`, ...failures].join(', ')));
}

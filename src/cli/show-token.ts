import type { EatClaims, RegionMeasurement } from '../attestation/index.ts';
import { toHex } from '../bytes/index.ts';
import type { Output } from './output.ts';
import { plain } from './show-verdict.ts';

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

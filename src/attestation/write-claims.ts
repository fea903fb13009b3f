import { CborMap, type CborValue, encode } from '../cbor/index.ts';
import {
  CLAIM,
  COMPARISON_RESULTS,
  DEBUG_STATES,
  type EatClaims,
  type ResultGroup,
  type ToldBoot,
} from './claims.ts';

/** A claims set in deterministic CBOR. Claims that are not read here cannot be written. */
export function writeClaims(claims: EatClaims): Uint8Array {
  const { nonces, dbgstat, software, measurements, results, boots } = claims;
  const entries: [number, CborValue | undefined][] = [
    [CLAIM.nonce, nonces.length > 1 ? nonces : nonces[0]],
    [CLAIM.ueid, claims.ueid],
    [CLAIM.oemid, claims.oemid],
    [CLAIM.hwmodel, claims.hwmodel],
    [CLAIM.dbgstat, dbgstat && DEBUG_STATES.indexOf(dbgstat)],
    [CLAIM.profile, claims.profile],
    [CLAIM.bootcount, claims.bootcount],
    [CLAIM.bootseed, claims.bootseed],
    [CLAIM.swname, claims.swname],
    [CLAIM.swversion, claims.swversion === undefined ? undefined : [claims.swversion]],
    [CLAIM.measurements, some(measurements.map(({ format, body }) => [format, body]))],
    [CLAIM.measres, some(results.map(groupValue))],
    [CLAIM.software, software && [software.manifestDigest, software.sequenceNumber]],
    [CLAIM.boots, some(boots.map(bootValue))],
  ];
  return encode(new CborMap(entries.filter((entry): entry is [number, CborValue] => entry[1] !== undefined)));
}

function some(values: readonly CborValue[]): readonly CborValue[] | undefined {
  return values.length > 0 ? values : undefined;
}

function groupValue({ system, results }: ResultGroup): CborValue {
  return [system, results.map(({ id, result }) => [id, COMPARISON_RESULTS.indexOf(result) + 1])];
}

function bootValue({ count, kind, runs, sequenceNumber, failures }: ToldBoot): CborValue {
  return [count, kind, runs ?? null, sequenceNumber, failures];
}

import { CborMap, type CborValue, encode } from '../cbor/index.ts';
import { type Parameters, type ParameterTypes, parametersValue } from '../suit/index.ts';
import type { Capabilities, PropertyClaim, SuitRecord, SuitReport } from './report.ts';

/** A report in deterministic CBOR: the same report gives the same bytes ([RPT] section 4; RFC 8949 section 4.2.1). */
export function writeReport(report: SuitReport): Uint8Array {
  const { uri, digest } = report.reference;
  const entries: [CborValue, CborValue][] = [
    [99, [uri, [digest.algorithm, digest.bytes]]],
    [3, report.records.map((each) => (each.kind === 'record' ? recordValue(each) : claimValue(each)))],
    [4, resultValue(report.result)],
  ];
  if (report.nonce) entries.push([2, report.nonce]);
  if (report.capabilities) entries.push([8, capabilitiesValue(report.capabilities)]);
  return encode(new CborMap(entries));
}

function resultValue(result: SuitReport['result']): CborValue {
  if (result === true) return true;
  return new CborMap([
    [5, result.code],
    [6, recordValue(result.record)],
    [7, result.reason],
  ]);
}

function recordValue({ manifestId, section, offset, component, properties }: SuitRecord): CborValue {
  return [manifestId, section, offset, component, parametersValue(plain(properties))];
}

/** Key 0 names the component, the other keys are parameters, of which none is 0. */
function claimValue({ component, properties }: PropertyClaim): CborValue {
  return new CborMap([[0, component], ...parametersValue(plain(properties)).entries]);
}

function plain(properties: Parameters): Partial<ParameterTypes> {
  return Object.fromEntries(properties) as Partial<ParameterTypes>;
}

function capabilitiesValue({ components, lists }: Capabilities): CborValue {
  const named = components.map(
    ({ identifier, prefix }): CborValue => [...identifier, ...(prefix ? [true] : [])],
  );
  return new CborMap([[1, named], ...lists.map(({ key, codes }): [CborValue, CborValue] => [key, codes])]);
}

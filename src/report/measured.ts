import { type Parameters, type ParameterTypes, parseUuid, SHA_256 } from '../suit/index.ts';
import type { Comparison, RefusalCode, UnitRecord } from '../unit/index.ts';
import { NOTHING_MEASURED } from './report.ts';

const DIGEST_LENGTH = 32;

type Measure = (found: Comparison['found'], record: UnitRecord) => Partial<ParameterTypes>;

const imageDigest: Measure = (found) =>
  found instanceof Uint8Array && found.length === DIGEST_LENGTH
    ? { 3: { algorithm: SHA_256, bytes: found } }
    : {};

/** Refusals for which the unit's own value is a SUIT parameter ([RPT] section 3, suit-record-properties). */
const MEASURES: Partial<Record<RefusalCode, Measure>> = {
  'vendor-wrong': (_, record) => ({ 1: uuid(record.vendor_id) }),
  'class-wrong': (_, record) => ({ 2: uuid(narrowestClass(record)) }),
  'device-wrong': (_, record) => ({ 24: uuid(record.device_id) }),
  'image-digest-wrong': imageDigest,
  'stored-image-wrong': imageDigest,
  'image-length-wrong': (found) => (typeof found === 'number' ? { 14: found } : {}),
};

/** The actual value that led to a refusal, where it is one that a report can hold. */
export function measuredAt(
  refusal: RefusalCode,
  failed: Comparison | undefined,
  record: UnitRecord,
): Parameters {
  const measured = MEASURES[refusal]?.(failed?.found, record);
  return measured ? parametersOf(measured) : NOTHING_MEASURED;
}

/** Parameters as a map by code. */
export function parametersOf(values: Partial<ParameterTypes>): Parameters {
  return new Map(Object.entries(values).map(([code, value]) => [Number(code), value])) as Parameters;
}

/** The class identifier that says most about a unit: model and hardware revision where it has both. */
export function narrowestClass({ class_ids }: Pick<UnitRecord, 'class_ids'>): string {
  return class_ids.at(-1)!;
}

function uuid(text: string): Uint8Array {
  return parseUuid(text);
}

/** The device identifier of a unit, 16 bytes. */
export function deviceOf({ device_id }: Pick<UnitRecord, 'device_id'>): Uint8Array {
  return parseUuid(device_id);
}

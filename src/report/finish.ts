import type { Manifest } from '../suit/index.ts';
import { SHA_256 } from '../suit/index.ts';
import type { CheckStep, Comparison, RefusalCode, UnitRecord } from '../unit/index.ts';
import { unitCapabilities } from './capabilities.ts';
import { measuredAt } from './measured.ts';
import { outcomeOf, PENDING } from './outcomes.ts';
import { invokePlace } from './places.ts';
import type { PropertyClaim, ReportedFailure, SuitRecord, SuitReference, SuitReport } from './report.ts';

/** What whoever asks for a report may add. */
export interface ReportOptions {
  /** A challenge, 8 to 64 bytes (RFC 9711 section 4.1). */
  readonly nonce?: Uint8Array | undefined;
  /** Whether the unit is to say what it can do. It says so unasked where a manifest asked for what it cannot. */
  readonly capabilities?: boolean | undefined;
}

/** Names no manifest: there was none. */
export const NOTHING_NAMED: SuitReference = {
  uri: '',
  digest: { algorithm: SHA_256, bytes: new Uint8Array(0) },
};

/** Reasons that say that a unit lacks something: the author must know what it has ([RPT] section 4.2). */
const LACKING: ReadonlySet<number> = new Set([2, 3, 5, 6, 8, 9]);

/** What a report says, before nonce and capabilities. */
export interface Told {
  readonly record: UnitRecord;
  readonly reference: SuitReference;
  readonly claims?: readonly PropertyClaim[];
  readonly result: true | ReportedFailure;
}

/** The whole report. */
export function finished(
  { record, reference, claims = [], result }: Told,
  options: ReportOptions,
): SuitReport {
  const lacking = result !== true && LACKING.has(result.reason);
  return {
    reference,
    ...(options.nonce && { nonce: options.nonce }),
    records: claims,
    result,
    ...((options.capabilities || lacking) && { capabilities: unitCapabilities(record) }),
  };
}

/** A refusal as a result: our number, the registry's reason, the place, and what the unit had instead. */
export function failure(
  refusal: RefusalCode,
  place: SuitRecord,
  steps: readonly CheckStep[],
  record: UnitRecord,
): ReportedFailure {
  const properties = measuredAt(refusal, failedIn(steps), record);
  return { ...outcomeOf(refusal), record: { ...place, properties } };
}

/** The result of everything that precedes the run: never a success ([RPT] section 4.2). */
export function pending(manifest: Manifest | undefined): ReportedFailure {
  return { ...PENDING, record: invokePlace(manifest) };
}

function failedIn(steps: readonly CheckStep[]): Comparison | undefined {
  return steps.flatMap(({ comparisons }) => comparisons).find(({ ok }) => ok === false);
}

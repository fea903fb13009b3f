import type { CborItem, CborMapping } from '../cbor/index.ts';
import {
  ALL_EXTENSIONS,
  type Parameters,
  readDigest,
  readParameters,
  type SuitDigest,
  SuitError,
} from '../suit/index.ts';
import { ReportError } from './error.ts';
import { REPORT_LIMITS } from './limits.ts';
import { readCapabilities } from './read-capabilities.ts';
import {
  bytesOf,
  decodeReportCbor,
  elementsOf,
  integerOf,
  listOf,
  required,
  textOf,
  tupleOf,
  uintOf,
  wrong,
} from './read-item.ts';
import {
  NOTHING_MEASURED,
  type PropertyClaim,
  type ReportedFailure,
  type SuitRecord,
  type SuitReference,
  type SuitReport,
} from './report.ts';
import { REASONS } from './tables.ts';

const REPORT_KEYS: ReadonlySet<number> = new Set([2, 3, 4, 8, 99]);
const RESULT_KEYS: ReadonlySet<number> = new Set([5, 6, 7]);
const COMPONENT_ID = 0;

/**
 * Reads a SUIT_Report strictly: every element known and of its type, those that must be there are there, nothing
 * behind it ([RPT] section 4 and Appendix A). Throws `ReportError` and nothing else.
 */
export function readReport(bytes: Uint8Array): SuitReport {
  const item = decodeReportCbor(bytes);
  const elements = elementsOf(item, 'a report', (key) => REPORT_KEYS.has(key));
  const nonce = elements.get(2);
  const capabilities = elements.get(8);
  return {
    reference: readReference(required(elements, 99, item, 'the reference')),
    ...(nonce && { nonce: readNonce(nonce) }),
    records: readRecords(required(elements, 3, item, 'the list of records')),
    result: readResult(required(elements, 4, item, 'the result')),
    ...(capabilities && { capabilities: readCapabilities(capabilities) }),
  };
}

function readReference(item: CborItem): SuitReference {
  const parts = tupleOf(item, 'the reference', 2);
  return { uri: textOf(parts[0]!, 'the reference URI'), digest: readReferredDigest(parts[1]!) };
}

/** A digest without bytes names nothing: the reporter had no manifest to name (docs/reports.md). */
function readReferredDigest(item: CborItem): SuitDigest {
  if (item.type === 'array' && item.items.length === 2) {
    const [algorithm, bytes] = item.items;
    if (bytes!.type === 'bytes' && bytes!.value.length === 0) {
      return { algorithm: integerOf(algorithm!, 'the digest algorithm'), bytes: bytes!.value };
    }
  }
  try {
    return readDigest(item);
  } catch (error) {
    if (!(error instanceof SuitError)) throw error;
    throw new ReportError('digest', error.offset, error.message, { cause: error });
  }
}

function readNonce(item: CborItem): Uint8Array {
  const nonce = bytesOf(item, 'the nonce');
  if (nonce.length > 0 && nonce.length <= REPORT_LIMITS.nonceSize) return nonce;
  throw new ReportError(
    'limit',
    item.start,
    `a nonce of ${nonce.length} bytes; 1 to ${REPORT_LIMITS.nonceSize} are read`,
  );
}

/** Records are arrays, claims are maps ([RPT] section 4.1). */
function readRecords(item: CborItem): (SuitRecord | PropertyClaim)[] {
  return listOf(item, 'the list of records', REPORT_LIMITS.records).map((each) =>
    each.type === 'map' ? readClaim(each) : readRecord(each),
  );
}

function readRecord(item: CborItem): SuitRecord {
  const [manifestId, section, offset, component, properties] = tupleOf(item, 'a record', 5);
  const walk = listOf(manifestId!, 'the manifest id of a record', REPORT_LIMITS.manifestDepth);
  if (properties!.type !== 'map') throw wrong(properties!, 'the properties of a record', 'a map');
  return {
    kind: 'record',
    manifestId: walk.map((step) => uintOf(step, 'a step of a manifest id')),
    section: integerOf(section!, 'the section of a record'),
    offset: uintOf(offset!, 'the offset of a record'),
    component: uintOf(component!, 'the component index of a record'),
    properties: readProperties(properties!),
  };
}

function readClaim(item: CborMapping): PropertyClaim {
  const named = item.entries.find(({ key }) => key.type === 'uint' && key.value === COMPONENT_ID);
  if (!named) throw new ReportError('element-missing', item.start, 'a claim names no component (element 0)');
  const properties = readProperties({ ...item, entries: item.entries.filter((entry) => entry !== named) });
  if (properties.size === 0) throw wrong(item, 'a claim', 'a map with one parameter at least');
  const segments = listOf(named.value, 'a component identifier', REPORT_LIMITS.manifestDepth, 1);
  return {
    kind: 'claim',
    component: segments.map((segment) => bytesOf(segment, 'a segment of a component identifier')),
    properties,
  };
}

/** An index into a component list is taken as it stands: the list is in the manifest, not here. */
function readProperties(item: CborMapping): Parameters {
  if (item.entries.length === 0) return NOTHING_MEASURED;
  try {
    return readParameters(item, {
      componentCount: Number.POSITIVE_INFINITY,
      inShared: false,
      extensions: ALL_EXTENSIONS,
    });
  } catch (error) {
    if (!(error instanceof SuitError)) throw error;
    throw new ReportError('parameter', error.offset, error.message, { cause: error });
  }
}

function readResult(item: CborItem): true | ReportedFailure {
  if (item.type === 'simple' && item.value === true) return true;
  const elements = elementsOf(item, 'a result other than true', (key) => RESULT_KEYS.has(key));
  const reason = required(elements, 7, item, 'the reason of a result');
  const code = integerOf(reason, 'the reason of a result');
  if (!REASONS.has(code)) {
    throw new ReportError(
      'reason-unknown',
      reason.start,
      `reason ${code} is not in the registry ([RPT] section 9)`,
    );
  }
  return {
    code: integerOf(required(elements, 5, item, 'the code of a result'), 'the code of a result'),
    record: readRecord(required(elements, 6, item, 'the record of a result')),
    reason: code,
  };
}

import { type CborBytes, CborError, type CborItem, type CborMapping, decode } from '../cbor/index.ts';
import { CoseError } from './error.ts';
import { hasShapeOf, LABEL, type Label, labelOf } from './labels.ts';

/** One header parameter as it stood in the message. */
export interface HeaderEntry {
  readonly label: Label;
  readonly value: CborItem;
  readonly isProtected: boolean;
}

/** The two header buckets of a COSE layer (RFC 9052 section 3). */
export class Headers {
  /** Content of the protected byte string as it came: empty, or an encoded map. */
  readonly protectedBytes: Uint8Array;
  /** All parameters, protected ones first, each bucket in the order of the bytes. */
  readonly entries: readonly HeaderEntry[];

  constructor(protectedBytes: Uint8Array, entries: readonly HeaderEntry[]) {
    this.protectedBytes = protectedBytes;
    this.entries = entries;
  }

  /** The parameter's value, from whichever bucket holds it: a label never stands in both. */
  get(label: Label): CborItem | undefined {
    return this.entries.find((entry) => entry.label === label)?.value;
  }

  /** The parameter's value where it is protected. */
  protectedGet(label: Label): CborItem | undefined {
    return this.entries.find((entry) => entry.isProtected && entry.label === label)?.value;
  }
}

/** Reads the two buckets of a layer. Throws `CoseError`. RFC 9052 section 3. */
export function readHeaders(protectedItem: CborItem, unprotectedItem: CborItem): Headers {
  if (protectedItem.type !== 'bytes') throw new CoseError('structure', protectedItem.start);
  const unprotectedMap = asMap(unprotectedItem);
  const protectedMap = readProtected(protectedItem);
  const entries: HeaderEntry[] = [];
  if (protectedMap) readBucket(entries, protectedMap, true);
  readBucket(entries, unprotectedMap, false);
  requireSeparate(entries);
  return new Headers(protectedItem.value, entries);
}

/** A map without parameters may be sent as no bytes at all (RFC 9052 section 3). */
function readProtected(item: CborBytes): CborMapping | undefined {
  if (item.value.length === 0) return undefined;
  return asMap(decodeForCose(item.value, item.contentStart));
}

/** Decodes for this room: CBOR faults become COSE faults. Strangers need not sort their headers. */
export function decodeForCose(bytes: Uint8Array, base: number, limits: { maxItems?: number } = {}): CborItem {
  try {
    return decode(bytes, { sortedKeys: false, base, ...limits });
  } catch (error) {
    if (!(error instanceof CborError)) throw error;
    const code = error.code === 'duplicate-key' ? 'duplicate-label' : 'not-cbor';
    throw new CoseError(code, error.offset, { cause: error });
  }
}

function asMap(item: CborItem): CborMapping {
  if (item.type !== 'map') throw new CoseError('structure', item.start);
  return item;
}

function readBucket(entries: HeaderEntry[], map: CborMapping, isProtected: boolean): void {
  for (const { key, value } of map.entries) {
    const label = labelOf(key);
    if (label === undefined || !hasShapeOf(label, value)) throw new CoseError('header-malformed', key.start);
    entries.push({ label, value, isProtected });
  }
}

/** RFC 9052 section 3, and section 3.1 on the two forms of an IV. */
function requireSeparate(entries: readonly HeaderEntry[]): void {
  const isRepeated = ({ isProtected, label }: HeaderEntry) =>
    !isProtected && entries.some((entry) => entry.isProtected && entry.label === label);
  const repeated = entries.find(isRepeated);
  if (repeated) throw new CoseError('label-in-both', repeated.value.start);
  const partial = entries.find((entry) => entry.label === LABEL.partialIv);
  if (partial && entries.some((entry) => entry.label === LABEL.iv)) {
    throw new CoseError('header-malformed', partial.value.start);
  }
}

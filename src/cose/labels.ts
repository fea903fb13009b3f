import type { CborInteger, CborItem, CborText } from '../cbor/index.ts';

/** Labels of header parameters (RFC 9052 section 3.1, RFC 9360 section 2). */
export const LABEL = {
  alg: 1,
  crit: 2,
  contentType: 3,
  kid: 4,
  iv: 5,
  partialIv: 6,
  x5bag: 32,
  x5chain: 33,
  x5t: 34,
  x5u: 35,
} as const;

/** A header label: an integer or a text (RFC 9052 section 1.4). */
export type Label = number | bigint | string;

const URI_TAG = 32;

/** What the value of each known label must be. Unknown labels may carry anything. */
const SHAPES: ReadonlyMap<Label, (value: CborItem) => boolean> = new Map([
  [LABEL.alg, isLabelShaped],
  [
    LABEL.crit,
    (value) => value.type === 'array' && value.items.length > 0 && value.items.every(isLabelShaped),
  ],
  [LABEL.contentType, (value) => value.type === 'text' || value.type === 'uint'],
  [LABEL.kid, isKeyId],
  [LABEL.iv, isBytes],
  [LABEL.partialIv, isBytes],
  [LABEL.x5bag, isCertificates],
  [LABEL.x5chain, isCertificates],
  [LABEL.x5t, isCertificateHash],
  [LABEL.x5u, (value) => value.type === 'tag' && value.tag === URI_TAG && value.item.type === 'text'],
]);

/** Whether a parameter's value has the type that its label asks for. */
export function hasShapeOf(label: Label, value: CborItem): boolean {
  return SHAPES.get(label)?.(value) ?? true;
}

/** The label that a map key is, or `undefined` where it is neither integer nor text. */
export function labelOf(item: CborItem): Label | undefined {
  return isLabelShaped(item) ? item.value : undefined;
}

function isLabelShaped(item: CborItem): item is CborInteger | CborText {
  return item.type === 'uint' || item.type === 'nint' || item.type === 'text';
}

/** A hint only (RFC 9052 section 3.1): a text, as some of the working group's examples send, does no harm. */
function isKeyId(item: CborItem): boolean {
  return isBytes(item) || item.type === 'text';
}

function isBytes(item: CborItem): boolean {
  return item.type === 'bytes';
}

/** COSE_X509: one certificate as a byte string, several as an array of at least two (RFC 9360 section 2). */
function isCertificates(item: CborItem): boolean {
  if (item.type === 'array') return item.items.length >= 2 && item.items.every(isBytes);
  return isBytes(item);
}

/** COSE_CertHash: hash algorithm and value (RFC 9360 section 2). */
function isCertificateHash(item: CborItem): boolean {
  if (item.type !== 'array' || item.items.length !== 2) return false;
  return isLabelShaped(item.items[0]!) && isBytes(item.items[1]!);
}

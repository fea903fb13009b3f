const CAUSES = {
  truncated: 'the bytes end before the item does: the data was cut short, or a length in it is wrong',
  'trailing-bytes': 'bytes follow the item: exactly one item was expected',
  'not-shortest': 'a number or length is not in its shortest form (RFC 8949 section 4.2.1)',
  'nan-payload':
    'a NaN other than f97e00: only that one has a deterministic form here (RFC 8949 section 4.2.2)',
  'indefinite-length':
    'an item of indefinite length: deterministic encoding has none (RFC 8949 section 4.2.1)',
  'stray-break': 'a break code outside an item of indefinite length (RFC 8949 section 3.2.1)',
  'reserved-head': 'additional information that RFC 8949 section 3 reserves: this is not CBOR',
  'reserved-simple': 'a simple value below 32 in two bytes: this is not CBOR (RFC 8949 section 3.3)',
  'invalid-utf8': 'a text string that is not UTF-8 (RFC 8949 section 3.1)',
  'duplicate-key': 'a map holds the same key twice (RFC 8949 section 5.6)',
  'unsorted-keys': 'map keys out of the bytewise order of their encodings (RFC 8949 section 4.2.1)',
  'too-deep': 'items nested deeper than the reader allows',
  'too-many-items': 'more items than the reader allows',
} as const;

/** Why bytes were refused. */
export type CborErrorCode = keyof typeof CAUSES;

/** Bytes that are not an item of the strict profile; `offset` counts as the item spans do. */
export class CborError extends Error {
  override readonly name = 'CborError';
  readonly code: CborErrorCode;
  readonly offset: number;

  constructor(code: CborErrorCode, offset: number) {
    super(`CBOR refused at byte ${offset}: ${CAUSES[code]}`);
    this.code = code;
    this.offset = offset;
  }
}

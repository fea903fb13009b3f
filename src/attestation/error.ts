/** Why bytes were refused as a challenge or a token. Closed: a caller's `switch` is checked by the compiler. */
export type AttestationErrorCode =
  /** Not well-formed CBOR, a key twice, text that is not UTF-8, or bytes behind it. */
  | 'not-cbor'
  /** Larger, longer or deeper than `ATTESTATION_LIMITS`. */
  | 'limit'
  /** Well-formed, and not of the shape that the document gives it. */
  | 'structure'
  /** An element that must be there. */
  | 'element-missing'
  /** A version or an element of a challenge that nobody defined. */
  | 'element-unknown'
  /** Not a CWT tag around a tagged COSE_Sign1 or COSE_Mac0 (RFC 8392 section 6; RFC 9711 section 4). */
  | 'container'
  /** The protected header does not say that a token is what it is. */
  | 'type';

/** Bytes refused. `offset` counts from the start of what was read. */
export class AttestationError extends Error {
  override readonly name = 'AttestationError';
  readonly code: AttestationErrorCode;
  readonly offset: number;

  constructor(code: AttestationErrorCode, offset: number, message: string, options?: ErrorOptions) {
    super(message, options);
    this.code = code;
    this.offset = offset;
  }
}

/** Why bytes were refused as an envelope or manifest. Closed: a caller's `switch` is checked by the compiler. */
export type SuitErrorCode =
  /** Not well-formed, or not in the deterministic form the draft demands ([M] section 8.1; RFC 8949 4.2.1). */
  | 'cbor'
  /** The bytes end before the structure does. */
  | 'truncated'
  /** Bytes follow the envelope. */
  | 'trailing'
  /** Larger, longer or deeper than the stated limits. */
  | 'limit'
  /** Well-formed, but no SUIT envelope. */
  | 'not-an-envelope'
  /** Envelope or manifest elements out of order or twice. */
  | 'element-order'
  | 'element-duplicate'
  /** An element nobody defined. */
  | 'element-unknown'
  /** An element that the drafts define and this implementation does not run. */
  | 'element-unsupported'
  | 'element-missing'
  | 'element-type'
  /** The authentication wrapper does not come before the manifest ([M] section 8.3). */
  | 'wrapper-order'
  /** SUIT_Digest: shape, algorithm, length ([M] section 10). */
  | 'digest'
  | 'digest-algorithm'
  | 'manifest-version'
  /** Component list or component identifier. */
  | 'components'
  | 'component-index'
  /** More than one component, and a sequence that does not first say which ([M] section 6.2). */
  | 'component-index-missing'
  /** A command sequence that is no flat list of pairs, or empty. */
  | 'sequence'
  | 'command-unknown'
  | 'command-unsupported'
  | 'command-argument'
  /** A command or custom parameter that the shared sequence must not hold ([M] section 6.2, Appendix A). */
  | 'shared-sequence'
  | 'parameter-unknown'
  | 'parameter-unsupported'
  | 'parameter-type'
  /** An element in the envelope that the manifest gives no digest for: nothing authenticates it. */
  | 'severed-unexpected'
  | 'version'
  | 'text';

/** Bytes refused. `offset` counts from the start of the envelope where it is known, else of the bytes given. */
export class SuitError extends Error {
  override readonly name = 'SuitError';
  readonly code: SuitErrorCode;
  readonly offset: number;

  constructor(code: SuitErrorCode, offset: number, message: string, options?: ErrorOptions) {
    super(message, options);
    this.code = code;
    this.offset = offset;
  }
}

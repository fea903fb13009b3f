/** Why bytes were refused as a report. Closed: a caller's `switch` is checked by the compiler. */
export type ReportErrorCode =
  /** Not well-formed CBOR, a key twice, text that is not UTF-8, or bytes behind the report. */
  | 'not-cbor'
  /** Larger, longer or deeper than `REPORT_LIMITS`. */
  | 'limit'
  /** Well-formed, and not of the shape that the draft gives it. */
  | 'structure'
  /** An element that a report must have ([RPT] section 4). */
  | 'element-missing'
  /** An element that nobody registered ([RPT] section 9). */
  | 'element-unknown'
  /** SUIT_Digest of the reference ([M] section 10). */
  | 'digest'
  /** A reason outside the registry ([RPT] section 9). */
  | 'reason-unknown'
  /** A measured value that is no SUIT parameter, or not of its type ([M] section 8.4.8). */
  | 'parameter'
  /** Neither COSE_Sign1 nor COSE_Mac0, or one that cannot be read ([RPT] section 8). */
  | 'container'
  /** The container does not say that a report is what it carries. */
  | 'content-type';

/** Bytes refused. `offset` counts from the start of what was read. */
export class ReportError extends Error {
  override readonly name = 'ReportError';
  readonly code: ReportErrorCode;
  readonly offset: number;

  constructor(code: ReportErrorCode, offset: number, message: string, options?: ErrorOptions) {
    super(message, options);
    this.code = code;
    this.offset = offset;
  }
}

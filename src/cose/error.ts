const CAUSES = {
  'not-cbor': 'it is not strict CBOR',
  'tag-missing': 'it carries no COSE tag, and what it is was not stated: tag it (RFC 9052 section 2)',
  'tag-unknown': 'its tag is not one of a signed or MACed COSE message (RFC 9052 section 2)',
  'kind-unsupported': 'it is an encrypted COSE message: only signatures and MACs are read here',
  'kind-mismatch': 'its tag says another kind of message than the one expected',
  structure: 'it does not have the elements of its kind (RFC 9052 sections 4 and 6)',
  'header-malformed':
    'a header parameter has not the type its label asks for (RFC 9052 section 3.1, RFC 9360)',
  'duplicate-label': 'a header holds the same label twice (RFC 9052 section 3)',
  'label-in-both': 'a label stands in the protected and in the unprotected header (RFC 9052 section 3)',
  'not-encrypted': 'its tag is not one of an encrypted COSE message (RFC 9052 section 2)',
  'recipients-too-many': 'it is encrypted to more recipients than are read here: split them over messages',
  'key-malformed':
    'the COSE_Key is not one (RFC 9052 section 7, RFC 9053 section 7), or everybody can sign under it: an Ed25519 point of small order',
  'key-unsupported': 'the COSE_Key is of a type or curve not used here: P-256, Ed25519 and symmetric are',
} as const;

/** Why a COSE message or key was refused before anything was verified. */
export type CoseErrorCode = keyof typeof CAUSES;

/** Bytes that are not a COSE message or key that we read; `offset` counts as the CBOR spans do. */
export class CoseError extends Error {
  override readonly name = 'CoseError';
  readonly code: CoseErrorCode;
  readonly offset: number;

  constructor(code: CoseErrorCode, offset: number, options?: { cause: Error }) {
    const detail = options ? ` (${options.cause.message})` : '';
    super(`COSE refused at byte ${offset}: ${CAUSES[code]}${detail}`, options);
    this.code = code;
    this.offset = offset;
  }
}

/** What this room refuses while reading or writing, each with what it means and what to do next. */
export const X509_REFUSALS = {
  'pem-missing': 'there is no PEM block in this text; give the file as it was made, or give DER',
  'pem-boundary':
    'a PEM block is not closed as it was opened; the file is cut off or was edited: copy it again',
  'pem-base64': 'the inside of a PEM block is not plain base64; the file was damaged: copy it again',
  'pem-label': 'the PEM text holds something else than what is asked for here',
  version: 'a version is unknown, or too old for the fields that follow; have it issued again as version 3',
  'serial-too-long': 'a serial number has more than 20 bytes; have the certificate issued again',
  'issuer-empty': 'the issuer has no name; nothing can chain to it',
  'subject-empty':
    'the subject has no name; name it, or give it a critical subjectAltName where it is no authority',
  'name-malformed': 'a part of a name is empty',
  'name-unwritable': 'a name cannot be written; change the value named here',
  'general-name-malformed': 'a subjectAltName or name constraint is of no form that RFC 5280 knows',
  'names-count': 'a list that needs one member is empty, or has more than 256; issue it again with fewer',
  'algorithm-parameters': 'a signature algorithm carries parameters that it must not have',
  'algorithm-mismatch': 'the signature algorithm outside and inside the signed part differ; it was altered',
  'extension-twice': 'one extension stands twice; which one counts would be a guess',
  'key-usage-empty': 'a keyUsage allows nothing; set a bit or leave the extension out',
  'policy-twice': 'one certificate policy stands twice',
  'key-unusable':
    'the public key is neither a P-256 point in uncompressed form nor Ed25519, or it is an Ed25519 point of small order, under which everybody can sign; use such a key',
  'signature-not-own': 'custody answered with a signature of another key; check which key the signer opened',
  'request-signature': 'the request is not signed by the key in it, so nobody has shown to hold that key',
  'rights-scope': 'a signer needs at least one scope, written urn:uuid:<class id> in lower case',
  'rights-generation': 'a signer needs a generation, a whole number from 0',
  'rights-role':
    "a signer's role has 1 to 32 lower-case letters, digits and inner dashes, a letter first, such as approver",
  'rights-of-authority':
    "scope, generation and role are a signer's; leave them out for a root or an intermediate",
  validity: 'the end of validity lies before its start; swap or correct the dates',
} as const;

export type X509Code = keyof typeof X509_REFUSALS;

/**
 * PEM, a certificate, a request or a CRL that is not what its standard allows. `offset`: where in the DER, in
 * bytes; `line`: where in a PEM text, counted from 1.
 */
export class X509Error extends Error {
  override readonly name = 'X509Error';
  readonly code: X509Code;
  readonly offset: number | undefined;
  readonly line: number | undefined;

  constructor(code: X509Code, where: { offset?: number; line?: number; detail?: string } = {}) {
    super([placeOf(where), X509_REFUSALS[code], where.detail ? ` (${where.detail})` : ''].join(''));
    this.code = code;
    this.offset = where.offset;
    this.line = where.line;
  }
}

function placeOf(where: { offset?: number; line?: number }): string {
  if (where.line !== undefined) return `line ${where.line}: `;
  return where.offset === undefined ? '' : `byte ${where.offset}: `;
}

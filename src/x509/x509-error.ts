/** What this room refuses while reading or writing, each with what it means and what to do next. */
export const X509_REFUSALS = {
  'pem-missing': 'there is no PEM block in this text; give the file as it was made, or give DER',
  'pem-boundary':
    'a PEM block is not closed as it was opened; the file is cut off or was edited: copy it again',
  'pem-base64': 'the inside of a PEM block is not plain base64; the file was damaged: copy it again',
  'pem-label': 'the PEM text holds something else than what is asked for here',
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

/** What a DER reader refuses, each with what it means. One check in the reader, one row here. */
export const DER_REFUSALS = {
  truncated: 'the bytes end inside an element; the file or message is cut off: copy or fetch it again',
  'left-over': 'bytes follow where the structure ends; something was appended or a length is wrong',
  'indefinite-length': 'an indefinite length is BER, not DER; have the sender encode it as DER',
  'length-not-minimal': 'a length is written with more bytes than it needs; that is BER, not DER',
  'length-too-large': 'a length is larger than this reader takes for such a structure; refuse the sender',
  'tag-too-large': 'a tag number above 30 is not used by any structure read here; this is another format',
  'too-deep': 'elements are nested deeper than any structure read here needs; refuse the sender',
  'unexpected-tag': 'another kind of element stands here than the structure asks for; this is another format',
  'constructed-form': 'a string or number is split into parts, or a sequence is not; that is BER, not DER',
  'boolean-not-canonical': 'a BOOLEAN in DER is one byte, 00 or ff',
  'integer-not-minimal': 'an INTEGER is empty or has a redundant leading byte; that is BER, not DER',
  'integer-too-large': 'a number is larger than its field allows',
  'null-not-empty': 'a NULL has content; it must be empty',
  'oid-malformed': 'an object identifier is empty, cut off, or padded',
  'bit-string-malformed': 'a BIT STRING has a wrong count of unused bits, or unused bits that are not zero',
  'string-malformed': 'a text holds characters that its type does not allow',
  'time-malformed': 'a time is not written as YYMMDDHHMMSSZ or YYYYMMDDHHMMSSZ, or is not a real date',
  'default-encoded': 'a value equal to its default is written out; DER leaves it out',
  'set-not-sorted': 'the members of a SET are not in the order DER asks for',
} as const;

export type DerCode = keyof typeof DER_REFUSALS;

/** Bytes that are not DER, or not the structure asked for. `offset`: where, in bytes from the start. */
export class DerError extends Error {
  override readonly name = 'DerError';
  readonly code: DerCode;
  readonly offset: number;

  constructor(code: DerCode, offset: number) {
    super(`DER, byte ${offset}: ${DER_REFUSALS[code]}`);
    this.code = code;
    this.offset = offset;
  }
}

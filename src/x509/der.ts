/**
 * Reads DER (ITU-T X.690 sections 8, 10 and 11), strictly. The subset: tag numbers to 30, definite and minimal
 * lengths up to a limit, the universal types named in TAG. Every other encoding is refused with a `DerError`.
 * A reader is a cursor: each getter checks what stands next, decodes it and moves on. Bytes given out are
 * views into the input, never copies.
 */
import { compare, toUtf8 } from '../bytes/index.ts';
import { DerError } from './der-error.ts';
import { readOid } from './der-oid.ts';
import { X509_LIMITS } from './limits.ts';

/** Tag bytes of the types read here: class, primitive or constructed, number (X.690 section 8.1.2). */
export const TAG = {
  boolean: 0x01,
  integer: 0x02,
  bitString: 0x03,
  octetString: 0x04,
  null: 0x05,
  oid: 0x06,
  enumerated: 0x0a,
  utf8String: 0x0c,
  numericString: 0x12,
  printableString: 0x13,
  teletexString: 0x14,
  ia5String: 0x16,
  utcTime: 0x17,
  generalizedTime: 0x18,
  visibleString: 0x1a,
  universalString: 0x1c,
  bmpString: 0x1e,
  sequence: 0x30,
  set: 0x31,
} as const;

/** Tag byte of a context-specific element `[number]`: constructed (explicit, or a sequence), or primitive. */
export function contextTag(number: number, form: 'constructed' | 'primitive'): number {
  return (form === 'constructed' ? 0xa0 : 0x80) | number;
}

/** One element: its tag byte, and where it and its content stand in the input. Views are made when asked for. */
export class DerElement {
  readonly #bytes: Uint8Array;
  readonly tag: number;
  readonly start: number;
  readonly contentStart: number;
  readonly end: number;

  constructor(bytes: Uint8Array, tag: number, start: number, contentStart: number, end: number) {
    this.#bytes = bytes;
    this.tag = tag;
    this.start = start;
    this.contentStart = contentStart;
    this.end = end;
  }

  /** All of it, tag and length included. */
  get whole(): Uint8Array {
    return this.#bytes.subarray(this.start, this.end);
  }

  get content(): Uint8Array {
    return this.#bytes.subarray(this.contentStart, this.end);
  }
}

export interface DerLimits {
  /** Largest input, in bytes. Default 65,536. */
  readonly maxBytes?: number;
  /** Deepest nesting. Default 16. */
  readonly maxDepth?: number;
}

/** A cursor over the elements between two offsets. */
export class DerReader {
  readonly #bytes: Uint8Array;
  readonly #end: number;
  readonly #depthLeft: number;
  #position: number;

  private constructor(bytes: Uint8Array, start: number, end: number, depthLeft: number) {
    if (depthLeft < 0) throw new DerError('too-deep', start);
    this.#bytes = bytes;
    this.#position = start;
    this.#end = end;
    this.#depthLeft = depthLeft;
  }

  /** A reader over a whole input. Throws `DerError` where it is larger than `limits` allow. */
  static of(bytes: Uint8Array, limits: DerLimits = {}): DerReader {
    if (bytes.length > (limits.maxBytes ?? X509_LIMITS.derSize.value))
      throw new DerError('length-too-large', 0);
    return new DerReader(bytes, 0, bytes.length, limits.maxDepth ?? X509_LIMITS.derDepth.value);
  }

  /** Offset of the next element, in bytes from the start of the input. */
  get offset(): number {
    return this.#position;
  }

  /** Whether nothing is left to read here. */
  get atEnd(): boolean {
    return this.#position === this.#end;
  }

  /** Tag byte of the next element, or `undefined` at the end. */
  peek(): number | undefined {
    return this.atEnd ? undefined : this.#bytes[this.#position];
  }

  /** The next element, which must have this tag byte. */
  element(tag: number): DerElement {
    const found = this.#read();
    if (found.tag !== tag) throw new DerError('unexpected-tag', found.start);
    this.#position = found.end;
    return found;
  }

  /** The next element where it has this tag byte; otherwise `undefined`, and the cursor stays. */
  optional(tag: number): DerElement | undefined {
    return this.peek() === tag ? this.element(tag) : undefined;
  }

  /** The next element, whatever it is, with everything nested in it checked to be DER. */
  any(): DerElement {
    const element = this.#read();
    this.#position = element.end;
    if (isConstructed(element)) {
      const inner = this.inside(element);
      while (!inner.atEnd) inner.any();
    }
    return element;
  }

  /** Enters the next element, which must have this tag byte: a reader over its content. */
  enter(tag: number = TAG.sequence): DerReader {
    return this.inside(this.element(tag));
  }

  /** Enters the next element where it has this tag byte. */
  enterOptional(tag: number): DerReader | undefined {
    const element = this.optional(tag);
    return element && this.inside(element);
  }

  /** A reader over the content of an element read before; `skip` leaves out leading content bytes. */
  inside(element: DerElement, skip = 0): DerReader {
    return new DerReader(this.#bytes, element.contentStart + skip, element.end, this.#depthLeft - 1);
  }

  /** Ends a structure: nothing may be left. */
  finish(): void {
    if (!this.atEnd) throw new DerError('left-over', this.#position);
  }

  boolean(): boolean {
    const { content, contentStart } = this.element(TAG.boolean);
    if (content.length !== 1) throw new DerError('boolean-not-canonical', contentStart);
    if (content[0] !== 0x00 && content[0] !== 0xff) throw new DerError('boolean-not-canonical', contentStart);
    return content[0] === 0xff;
  }

  /** `BOOLEAN DEFAULT FALSE`: absent is false; a written-out false is refused (X.690 section 11.5). */
  booleanDefaultFalse(): boolean {
    if (this.peek() !== TAG.boolean) return false;
    const start = this.#position;
    if (!this.boolean()) throw new DerError('default-encoded', start);
    return true;
  }

  /** An INTEGER as its content bytes: two's complement, most significant first, minimal. */
  integerBytes(tag: number = TAG.integer): Uint8Array {
    const { content, contentStart } = this.element(tag);
    if (content.length === 0) throw new DerError('integer-not-minimal', contentStart);
    const [first = 0, second = 0] = content;
    if (content.length > 1 && first === 0x00 && second < 0x80) {
      throw new DerError('integer-not-minimal', contentStart);
    }
    if (content.length > 1 && first === 0xff && second >= 0x80) {
      throw new DerError('integer-not-minimal', contentStart);
    }
    return content;
  }

  /** An INTEGER from 0 to `maximum`, as a number. */
  unsigned(maximum: number = Number.MAX_SAFE_INTEGER, tag: number = TAG.integer): number {
    const start = this.#position;
    const bytes = this.integerBytes(tag);
    if (bytes[0]! >= 0x80 || bytes.length > 8) throw new DerError('integer-too-large', start);
    const value = bytes.reduce((sum, byte) => sum * 256 + byte, 0);
    if (value > maximum) throw new DerError('integer-too-large', start);
    return value;
  }

  /** An object identifier in dotted form. */
  oid(tag: number = TAG.oid): string {
    const { content, contentStart } = this.element(tag);
    return readOid(content, contentStart);
  }

  octetString(): Uint8Array {
    return this.element(TAG.octetString).content;
  }

  null(): void {
    const { content, contentStart } = this.element(TAG.null);
    if (content.length > 0) throw new DerError('null-not-empty', contentStart);
  }

  /** A BIT STRING: its bytes, and how many bits of the last byte do not belong to it (X.690 section 8.6, 11.2). */
  bitString(tag: number = TAG.bitString): { bytes: Uint8Array; unusedBits: number } {
    const { content, contentStart } = this.element(tag);
    const [unusedBits = 8] = content;
    const bytes = content.subarray(1);
    const mask = (1 << unusedBits) - 1;
    if (unusedBits > 7) throw new DerError('bit-string-malformed', contentStart);
    if (unusedBits > 0 && bytes.length === 0) throw new DerError('bit-string-malformed', contentStart);
    if (((bytes.at(-1) ?? 0) & mask) !== 0) throw new DerError('bit-string-malformed', contentStart);
    return { bytes, unusedBits };
  }

  /** A BIT STRING that carries whole bytes: a key or a signature. */
  bitStringBytes(): Uint8Array {
    const start = this.#position;
    const { bytes, unusedBits } = this.bitString();
    if (unusedBits !== 0) throw new DerError('bit-string-malformed', start);
    return bytes;
  }

  /**
   * A BIT STRING of named bits: the numbers of those set, bit 0 leftmost. Trailing zero bits, which X.690 section
   * 11.2.2 takes off, are let pass: they change nothing, and the certificates of the COSE examples have them.
   */
  namedBits(): number[] {
    const { bytes, unusedBits } = this.bitString();
    const used = Array.from({ length: bytes.length * 8 - unusedBits }, (_, bit) => bit);
    return used.filter((bit) => (bytes[bit >> 3]! & (0x80 >> (bit & 7))) !== 0);
  }

  /** A UTF8String. */
  utf8String(): string {
    const { content, contentStart } = this.element(TAG.utf8String);
    try {
      return toUtf8(content);
    } catch {
      throw new DerError('string-malformed', contentStart);
    }
  }

  /** An IA5String, or an implicitly tagged one: ASCII. */
  ia5String(tag: number = TAG.ia5String): string {
    const { content, contentStart } = this.element(tag);
    if (content.some((byte) => byte > 0x7f)) throw new DerError('string-malformed', contentStart);
    return String.fromCharCode(...content);
  }

  /** Every element left, each handed to `read` as a reader positioned at it. */
  each<T>(read: (reader: DerReader) => T): T[] {
    const found: T[] = [];
    while (!this.atEnd) found.push(read(this));
    return found;
  }

  /** As `each`, for the members of a SET OF, which must come in ascending order (X.690 section 11.6). */
  eachOfSet<T>(read: (reader: DerReader) => T): T[] {
    let before: Uint8Array | undefined;
    return this.each((reader) => {
      const start = this.#position;
      const value = read(reader);
      const encoding = this.#bytes.subarray(start, this.#position);
      if (before && compare(before, encoding) > 0) throw new DerError('set-not-sorted', start);
      before = encoding;
      return value;
    });
  }

  #read(): DerElement {
    const start = this.#position;
    const tag = this.#byte(start);
    if ((tag & 0x1f) === 0x1f) throw new DerError('tag-too-large', start);
    if (tag < 0x40 && isConstructedType(tag) !== ((tag & 0x20) !== 0)) {
      throw new DerError('constructed-form', start);
    }
    const { length, contentStart } = this.#length(start + 1);
    if (length > this.#end - contentStart) throw new DerError('truncated', start);
    return new DerElement(this.#bytes, tag, start, contentStart, contentStart + length);
  }

  #length(at: number): { length: number; contentStart: number } {
    const first = this.#byte(at);
    if (first < 0x80) return { length: first, contentStart: at + 1 };
    const count = first & 0x7f;
    if (count === 0) throw new DerError('indefinite-length', at);
    if (this.#byte(at + 1) === 0) throw new DerError('length-not-minimal', at);
    if (count > 4) throw new DerError('length-too-large', at);
    let length = 0;
    for (let i = 1; i <= count; i++) length = length * 256 + this.#byte(at + i);
    if (length < 0x80) throw new DerError('length-not-minimal', at);
    return { length, contentStart: at + 1 + count };
  }

  #byte(at: number): number {
    if (at >= this.#end) throw new DerError('truncated', at);
    return this.#bytes[at]!;
  }
}

/** Whether an element holds other elements. */
export function isConstructed(element: DerElement): boolean {
  return (element.tag & 0x20) !== 0;
}

/** Reads exactly one element and nothing after it. `read` gets a reader positioned at it. */
export function readDer<T>(bytes: Uint8Array, read: (reader: DerReader) => T, limits?: DerLimits): T {
  const reader = DerReader.of(bytes, limits);
  const value = read(reader);
  reader.finish();
  return value;
}

// Of the universal types, only these hold other elements in DER: EXTERNAL, EMBEDDED PDV, SEQUENCE and SET.
function isConstructedType(tag: number): boolean {
  const number = tag & 0x1f;
  return number === 0x08 || number === 0x0b || number === 0x10 || number === 0x11;
}

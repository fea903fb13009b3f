import { shortAscii, toUtf8, view } from '../bytes/index.ts';
import { CborError, type CborErrorCode } from './error.ts';
import { readFloat } from './float.ts';
import { argumentLength, readArgument } from './head.ts';
import type { CborEntry, CborItem, CborMapping } from './item.ts';
import { CBOR_LIMITS } from './limits.ts';

/** Bounds of a decoder and how it reads maps. */
export interface DecodeOptions {
  /** Levels of arrays, maps and tags. Default 16. */
  readonly maxDepth?: number;
  /** Items in all. Default 4096. */
  readonly maxItems?: number;
  /** Whether map keys must stand in deterministic order. Default true; duplicates are refused either way. */
  readonly sortedKeys?: boolean;
  /** Added to every span and error offset: where `bytes` begins in something larger. Default 0. */
  readonly base?: number;
}

/** Decodes exactly one item; throws `CborError`, also where bytes follow it. RFC 8949 section 3. */
export function decode(bytes: Uint8Array, options: DecodeOptions = {}): CborItem {
  const reader = new Reader(bytes, 0, options);
  const item = reader.item();
  if (reader.at < bytes.length) throw new CborError('trailing-bytes', item.end);
  return item;
}

/**
 * Decodes the item that begins at `offset` of a sequence; the next one begins at its `end` (less `base`). Throws
 * `CborError`. RFC 8742.
 */
export function decodeFirst(bytes: Uint8Array, offset: number, options: DecodeOptions = {}): CborItem {
  return new Reader(bytes, offset, options).item();
}

class Reader {
  at: number;
  private readonly bytes: Uint8Array;
  private readonly base: number;
  private readonly sortedKeys: boolean;
  private depthLeft: number;
  private itemsLeft: number;

  constructor(bytes: Uint8Array, offset: number, options: DecodeOptions) {
    this.bytes = bytes;
    this.at = offset;
    this.base = options.base ?? 0;
    this.sortedKeys = options.sortedKeys ?? true;
    this.depthLeft = options.maxDepth ?? CBOR_LIMITS.depth.value;
    this.itemsLeft = options.maxItems ?? CBOR_LIMITS.items.value;
  }

  item(): CborItem {
    const from = this.at;
    if (from >= this.bytes.length) throw this.refusal('truncated', from);
    if (this.itemsLeft-- <= 0) throw this.refusal('too-many-items', from);
    const initial = this.bytes[from]!;
    const argument = readArgument(this.bytes, from, this.base);
    this.at = from + 1 + argumentLength(initial & 31);
    switch (initial >> 5) {
      case 0:
        return { type: 'uint', value: argument, start: from + this.base, end: this.at + this.base };
      case 1:
        return { type: 'nint', value: negative(argument), start: from + this.base, end: this.at + this.base };
      case 2:
        return this.byteString(from, argument);
      case 3:
        return this.text(from, argument);
      case 4:
        return this.array(from, argument);
      case 5:
        return this.map(from, argument);
      case 6:
        return this.tag(from, argument);
      default:
        return this.simpleOrFloat(from, initial, argument);
    }
  }

  private byteString(from: number, length: number | bigint): CborItem {
    const content = this.at;
    this.skipContent(from, length);
    const value = view(this.bytes, content, this.at);
    const contentStart = content + this.base;
    return { type: 'bytes', value, contentStart, start: from + this.base, end: this.at + this.base };
  }

  private text(from: number, length: number | bigint): CborItem {
    const content = this.at;
    this.skipContent(from, length);
    const value = this.textBetween(content, this.at, from);
    const contentStart = content + this.base;
    return { type: 'text', value, contentStart, start: from + this.base, end: this.at + this.base };
  }

  private skipContent(from: number, length: number | bigint): void {
    if (length > this.bytes.length - this.at) throw this.refusal('truncated', from);
    this.at += Number(length);
  }

  private textBetween(start: number, end: number, from: number): string {
    const short = shortAscii(this.bytes, start, end);
    if (short !== undefined) return short;
    try {
      return toUtf8(this.bytes.subarray(start, end));
    } catch {
      throw this.refusal('invalid-utf8', from);
    }
  }

  private array(from: number, count: number | bigint): CborItem {
    this.enter(from, count, 1);
    const items = new Array<CborItem>(Number(count));
    for (let i = 0; i < items.length; i++) items[i] = this.item();
    this.depthLeft++;
    return { type: 'array', items, start: from + this.base, end: this.at + this.base };
  }

  private map(from: number, count: number | bigint): CborMapping {
    this.enter(from, count, 2);
    const entries = new Array<CborEntry>(Number(count));
    let ordered = true;
    for (let i = 0; i < entries.length; i++) {
      const key = this.item();
      if (i > 0 && !this.follows(entries[i - 1]!.key, key)) ordered = false;
      entries[i] = { key, value: this.item() };
    }
    if (!ordered) this.requireDistinct(entries);
    this.depthLeft++;
    return { type: 'map', entries, start: from + this.base, end: this.at + this.base };
  }

  private tag(from: number, tag: number | bigint): CborItem {
    this.enter(from, 1, 1);
    const item = this.item();
    this.depthLeft++;
    return { type: 'tag', tag, item, start: from + this.base, end: this.at + this.base };
  }

  /** Refuses a container before anything of it is read: each item in it takes at least one byte. */
  private enter(from: number, count: number | bigint, itemsEach: number): void {
    if (this.depthLeft-- <= 0) throw this.refusal('too-deep', from);
    const room = Math.floor((this.bytes.length - this.at) / itemsEach);
    if (count > room) throw this.refusal('truncated', from);
    if (count > Math.floor(this.itemsLeft / itemsEach)) throw this.refusal('too-many-items', from);
  }

  private follows(previous: CborItem, key: CborItem): boolean {
    const order = this.compareKeys(previous, key);
    if (order === 0) throw new CborError('duplicate-key', key.start);
    if (order > 0 && this.sortedKeys) throw new CborError('unsorted-keys', key.start);
    return order < 0;
  }

  private requireDistinct(entries: readonly CborEntry[]): void {
    const keys = entries
      .map((entry) => entry.key)
      .sort((a, b) => this.compareKeys(a, b) || a.start - b.start);
    for (let i = 1; i < keys.length; i++) {
      if (this.compareKeys(keys[i - 1]!, keys[i]!) === 0)
        throw new CborError('duplicate-key', keys[i]!.start);
    }
  }

  /** Bytewise order of two encoded keys: no encoding is a prefix of another, so lengths need no look. */
  private compareKeys(a: CborItem, b: CborItem): number {
    const { bytes, base } = this;
    const length = Math.min(a.end - a.start, b.end - b.start);
    for (let i = 0, at = a.start - base, other = b.start - base; i < length; i++) {
      const difference = bytes[at + i]! - bytes[other + i]!;
      if (difference !== 0) return difference;
    }
    return 0;
  }

  private simpleOrFloat(from: number, initial: number, argument: number | bigint): CborItem {
    const start = from + this.base;
    const end = this.at + this.base;
    if (initial >= 0xf9) return { type: 'float', value: readFloat(this.bytes, from, this.base), start, end };
    return { type: 'simple', value: simpleValue(Number(argument)), start, end };
  }

  private refusal(code: CborErrorCode, at: number): CborError {
    return new CborError(code, at + this.base);
  }
}

function negative(argument: number | bigint): number | bigint {
  return argument < Number.MAX_SAFE_INTEGER ? -1 - Number(argument) : -1n - BigInt(argument);
}

function simpleValue(number: number): boolean | null | undefined | number {
  switch (number) {
    case 20:
      return false;
    case 21:
      return true;
    case 22:
      return null;
    case 23:
      return undefined;
    default:
      return number;
  }
}

import { toHex } from '../../bytes/index.ts';
import { type CborBytes, CborError, type CborItem, decode, diagnostic } from '../../cbor/index.ts';
import { SUIT_LIMITS } from '../limits.ts';
import { CBOR_CLAUSE, counted, partsOf, type Region } from './region.ts';
import { scanHeads } from './scan.ts';
import { named, type Part, type Shape } from './shape.ts';

const SHOWN_BYTES = 64;
/** Byte strings that wrap byte strings: a manifest's own limit on nesting lies far below. */
const DEEPEST = 24;
const PLAIN = named('CBOR item', CBOR_CLAUSE);

/** Decodes what a byte string wraps, map order waived: an anatomy shows damage, it does not judge. */
export function decodeWrapped(bytes: CborBytes): CborItem | CborError {
  try {
    const options = {
      base: bytes.contentStart,
      sortedKeys: false,
      maxItems: SUIT_LIMITS.items,
      maxDepth: 32,
    };
    return decode(bytes.value, options);
  } catch (error) {
    if (error instanceof CborError) return error;
    throw error;
  }
}

/** Divides decoded items into regions by their shapes, down to heads, keys and values. */
export class Walker {
  private readonly embedded = new Map<number, CborItem>();
  private depth = 0;

  /** An item as a region; its leaves fill it. */
  region(item: CborItem, shape: Shape, path: string): Region {
    switch (item.type) {
      case 'bytes':
        return shape.wraps
          ? this.wrapped(item, shape, shape.wraps, path)
          : this.stringRegion(item, shape, path);
      case 'text':
        return this.stringRegion(item, shape, path);
      case 'array':
        return this.container(
          item,
          shape,
          path,
          item.items[0]?.start ?? item.end,
          this.elements(item, shape, path),
        );
      case 'map': {
        const entries = item.entries.map(({ key, value }) => this.entry(key, value, shape, path));
        return this.container(item, shape, path, item.entries[0]?.key.start ?? item.end, entries);
      }
      case 'tag': {
        const inner = this.region(item.item, shape.tagged?.(item.tag) ?? PLAIN, path);
        return this.container(item, shape, path, item.item.start, partsOf(inner), 'tag');
      }
      default:
        return this.finish(item, shape, path);
    }
  }

  /** The item in diagnostic notation, wrapped items that have been met shown as `<<...>>`. */
  notation(item: CborItem): string {
    return diagnostic(item, { expand: (bytes) => this.embedded.get(bytes.contentStart) });
  }

  private finish(
    item: CborItem,
    shape: Shape,
    path: string,
    children?: readonly Region[],
    problem?: string,
  ): Region {
    const value = shape.say?.(item) ?? plainValue(item);
    return {
      offset: item.start,
      length: item.end - item.start,
      path,
      title: shape.title,
      clause: shape.clause,
      ...(value !== undefined && !(item.type === 'bytes' && shape.wraps) && { value }),
      diagnostic: this.notation(item),
      ...(problem !== undefined && { problem }),
      ...(children && { children }),
    };
  }

  private container(
    item: CborItem,
    shape: Shape,
    path: string,
    headEnd: number,
    children: readonly Region[],
    role: HeadRole = 'head',
  ): Region {
    return this.finish(item, shape, path, [headRegion(item, headEnd, path, role), ...children]);
  }

  private stringRegion(item: CborItem & { type: 'bytes' | 'text' }, shape: Shape, path: string): Region {
    const whole = this.finish(item, shape, path);
    if (item.contentStart === item.end) return whole;
    const { value, title, clause } = whole;
    const content: Region = {
      offset: item.contentStart,
      length: item.end - item.contentStart,
      path: `${path}/content`,
      title,
      clause,
      ...(value !== undefined && { value }),
    };
    return { ...whole, children: [headRegion(item, item.contentStart, path), content] };
  }

  private wrapped(item: CborBytes, shape: Shape, wraps: Shape, path: string): Region {
    const head = headRegion(item, item.contentStart, path, 'wrapper');
    if (shape.mayBeEmpty && item.value.length === 0) return this.finish(item, shape, path, [head]);
    const inner = this.depth < DEEPEST ? decodeWrapped(item) : new CborError('too-deep', item.start);
    if (inner instanceof CborError) {
      const parts = scanHeads(item.value, item.contentStart, path, inner.message);
      return this.finish(item, shape, path, [head, ...parts], inner.message);
    }
    this.embedded.set(item.contentStart, inner);
    this.depth++;
    const region = this.region(inner, wraps, path);
    this.depth--;
    const whole = this.finish(item, shape, path, [head, ...partsOf(region)]);
    return region.value === undefined ? whole : { ...whole, value: region.value };
  }

  private entry(key: CborItem, value: CborItem, shape: Shape, path: string): Region {
    const part = shape.entry?.(key) ?? { name: keyName(key), shape: PLAIN };
    return this.pairRegion(key, value, part, `${path}/${part.name}`, 'key');
  }

  private elements(array: CborItem & { type: 'array' }, shape: Shape, path: string): readonly Region[] {
    if (shape.pair) return this.pairs(array.items, shape.pair, path);
    return array.items.map((item, index) => {
      const part: Part = shape.element?.(index) ?? { name: String(index), shape: PLAIN };
      return this.region(item, part.shape, `${path}/${part.name}`);
    });
  }

  private pairs(items: readonly CborItem[], pair: (code: CborItem) => Part, path: string): readonly Region[] {
    const regions: Region[] = [];
    for (let i = 0; i < items.length; i += 2) {
      const [code, argument] = [items[i]!, items[i + 1]];
      const part = pair(code);
      const at = `${path}/${i / 2}-${part.name}`;
      regions.push(
        argument ? this.pairRegion(code, argument, part, at, 'code') : this.region(code, part.shape, at),
      );
    }
    return regions;
  }

  /** A key and its value, or a command and its argument, as one region. */
  private pairRegion(
    key: CborItem,
    value: CborItem,
    part: Part,
    path: string,
    keyRole: 'key' | 'code',
  ): Region {
    const name = named(`${keyRole}: ${part.shape.title}`, part.shape.clause);
    const keyRegion = this.region(key, name, `${path}/${keyRole}`);
    const valueRegion = this.region(value, part.shape, path);
    const separator = keyRole === 'key' ? ': ' : ', ';
    return {
      ...valueRegion,
      offset: key.start,
      length: value.end - key.start,
      path,
      diagnostic: `${keyRegion.diagnostic}${separator}${valueRegion.diagnostic}`,
      children: [
        ...partsOf(keyRegion),
        ...(valueRegion.children ?? [{ ...valueRegion, path: `${path}/value` }]),
      ],
    };
  }
}

/** Head of an item, of a byte string around one, or a tag: what wraps and what is wrapped share a path. */
type HeadRole = 'head' | 'wrapper' | 'tag';

function headRegion(item: CborItem, end: number, path: string, role: HeadRole = 'head'): Region {
  return {
    offset: item.start,
    length: end - item.start,
    path: `${path}/${role}`,
    title: `head: ${headTitle(item)}`,
    clause: CBOR_CLAUSE,
  };
}

function headTitle(item: CborItem): string {
  switch (item.type) {
    case 'bytes':
      return `byte string of ${counted(item.value.length, 'byte')}`;
    case 'text':
      return `text of ${counted(item.end - item.contentStart, 'byte')}`;
    case 'array':
      return `array of ${item.items.length}`;
    case 'map':
      return `map of ${item.entries.length}`;
    case 'tag':
      return `tag ${item.tag}`;
    default:
      return item.type;
  }
}

function plainValue(item: CborItem): string | undefined {
  switch (item.type) {
    case 'uint':
    case 'nint':
    case 'simple':
    case 'float':
      return String(item.value);
    case 'text':
      return item.value;
    case 'bytes':
      return item.value.length > SHOWN_BYTES ? `${item.value.length} bytes` : toHex(item.value);
    default:
      return undefined;
  }
}

function keyName(key: CborItem): string {
  return plainValue(key) ?? key.type;
}

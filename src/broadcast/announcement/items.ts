import { type CborItem, type CborMapping, lookUp } from '../../cbor/index.ts';
import { AnnouncementFault } from './fault.ts';

/** A map with no other keys than `keys`. Throws `AnnouncementFault`, as everything here. */
export function mapOf(item: CborItem, keys: Readonly<Record<string, number>>, what: string): CborMapping {
  if (item.type !== 'map') throw new AnnouncementFault(`the ${what} is no map`, item.start);
  const known = Object.values(keys);
  const strange = item.entries.find(({ key }) => key.type !== 'uint' || !known.includes(Number(key.value)));
  if (strange)
    throw new AnnouncementFault(`the ${what} has a field that is not known here`, strange.key.start);
  return item;
}

export function field(map: CborMapping, key: number): CborItem {
  const item = lookUp(map, key);
  if (item) return item;
  throw new AnnouncementFault(`field ${key} is missing`, map.start);
}

export function whole(item: CborItem): bigint {
  if (item.type === 'uint') return BigInt(item.value);
  throw new AnnouncementFault('a whole number was expected', item.start);
}

export function number(map: CborMapping, key: number): number {
  const item = field(map, key);
  const value = whole(item);
  if (value <= BigInt(Number.MAX_SAFE_INTEGER)) return Number(value);
  throw new AnnouncementFault('a number is too large', item.start);
}

export function fixed(item: CborItem, length: number): Uint8Array {
  if (item.type === 'bytes' && item.value.length === length) return item.value;
  throw new AnnouncementFault(`${length} bytes were expected`, item.start);
}

export function text(item: CborItem, longest: number): string {
  if (item.type === 'text' && item.value.length <= longest && !/\p{Cc}/u.test(item.value)) return item.value;
  throw new AnnouncementFault(`a text of at most ${longest} characters was expected`, item.start);
}

export function list(item: CborItem, most: number): readonly CborItem[] {
  if (item.type === 'array' && item.items.length <= most) return item.items;
  throw new AnnouncementFault(`a list of at most ${most} was expected`, item.start);
}

import { concat, fromUtf8 } from '../../src/bytes/index.ts';
import { type CborItem, encodeHead } from '../../src/cbor/index.ts';

const SIMPLE_NUMBERS = new Map<unknown, number>([
  [false, 20],
  [true, 21],
  [null, 22],
  [undefined, 23],
]);

/** Writes an item back from its values alone, not from its spans. */
export function reencode(item: CborItem): Uint8Array {
  switch (item.type) {
    case 'uint':
      return encodeHead(0, item.value);
    case 'nint':
      return encodeHead(1, -1n - BigInt(item.value));
    case 'bytes':
      return concat(encodeHead(2, item.value.length), item.value);
    case 'text': {
      const bytes = fromUtf8(item.value);
      return concat(encodeHead(3, bytes.length), bytes);
    }
    case 'array':
      return concat(encodeHead(4, item.items.length), ...item.items.map(reencode));
    case 'map':
      return concat(
        encodeHead(5, item.entries.length),
        ...item.entries.flatMap(({ key, value }) => [reencode(key), reencode(value)]),
      );
    case 'tag':
      return concat(encodeHead(6, item.tag), reencode(item.item));
    case 'simple': {
      const number = SIMPLE_NUMBERS.get(item.value) ?? Number(item.value);
      return number < 24 ? Uint8Array.of(0xe0 | number) : Uint8Array.of(0xf8, number);
    }
    default:
      return shortestFloat(item.value);
  }
}

/** The narrowest of the three widths that reads back as the same number; half by exhaustion of its 65536 values. */
function shortestFloat(value: number): Uint8Array {
  if (Number.isNaN(value)) return Uint8Array.of(0xf9, 0x7e, 0x00);
  const half = halves().get(Object.is(value, -0) ? '-0' : String(value));
  if (half !== undefined) return Uint8Array.of(0xf9, half >> 8, half & 0xff);
  const view = new DataView(new ArrayBuffer(9));
  if (Math.fround(value) === value) {
    view.setUint8(0, 0xfa);
    view.setFloat32(1, value);
    return new Uint8Array(view.buffer, 0, 5);
  }
  view.setUint8(0, 0xfb);
  view.setFloat64(1, value);
  return new Uint8Array(view.buffer);
}

let halfBits: Map<string, number> | undefined;

function halves(): Map<string, number> {
  halfBits ??= new Map(
    Array.from({ length: 0x10000 }, (_, bits) => {
      const value = halfToNumber(bits);
      return [Object.is(value, -0) ? '-0' : String(value), bits];
    }),
  );
  return halfBits;
}

/** IEEE 754 binary16, widened bit by bit to binary64. */
function halfToNumber(bits: number): number {
  const exponent = (bits >> 10) & 31;
  const fraction = (bits & 0x3ff) / 1024;
  const size =
    exponent === 0
      ? fraction * 2 ** -14
      : exponent === 31
        ? fraction === 0
          ? Infinity
          : Number.NaN
        : (1 + fraction) * 2 ** (exponent - 15);
  return bits >> 15 ? -size : size;
}

import { CborError } from './error.ts';

const scratch = new DataView(new ArrayBuffer(8));
const SMALLEST_HALF = 2 ** -24;
const SMALLEST_NORMAL_HALF = 2 ** -14;
const LARGEST_HALF = 65504;

/**
 * The float whose head (f9, fa or fb, complete) lies at `offset`; refuses one that a shorter form holds and every
 * NaN but f97e00 (RFC 8949 sections 4.2.1 and 4.2.2). `base` is added to the offset in errors.
 */
export function readFloat(bytes: Uint8Array, offset: number, base: number): number {
  const view = new DataView(bytes.buffer, bytes.byteOffset + offset + 1);
  const initial = bytes[offset];
  if (initial === 0xf9) {
    const value = halfToNumber(view.getUint16(0));
    if (Number.isNaN(value) && view.getUint16(0) !== 0x7e00)
      throw new CborError('nan-payload', offset + base);
    return value;
  }
  const value = initial === 0xfa ? view.getFloat32(0) : view.getFloat64(0);
  const fitsShorter = initial === 0xfa ? isHalf(value) : isSingle(value);
  if (fitsShorter || Number.isNaN(value)) throw new CborError('not-shortest', offset + base);
  return value;
}

/** Shortest encoding, head included, of a finite number that is not whole. */
export function encodeFloat(value: number): Uint8Array {
  if (isHalf(value)) {
    const bits = numberToHalf(value);
    return Uint8Array.of(0xf9, bits >> 8, bits & 0xff);
  }
  const width = isSingle(value) ? 4 : 8;
  if (width === 4) scratch.setFloat32(0, value);
  else scratch.setFloat64(0, value);
  const encoded = new Uint8Array(1 + width);
  encoded[0] = width === 4 ? 0xfa : 0xfb;
  encoded.set(new Uint8Array(scratch.buffer, 0, width), 1);
  return encoded;
}

/** RFC 8949 Appendix D. */
function halfToNumber(bits: number): number {
  const exponent = (bits >> 10) & 0x1f;
  const fraction = bits & 0x3ff;
  const sign = bits & 0x8000 ? -1 : 1;
  if (exponent === 0) return sign * fraction * SMALLEST_HALF;
  if (exponent === 31) return fraction === 0 ? sign * Infinity : Number.NaN;
  return sign * (1024 + fraction) * 2 ** (exponent - 25);
}

function isSingle(value: number): boolean {
  return Math.fround(value) === value;
}

function isHalf(value: number): boolean {
  const size = Math.abs(value);
  if (size === 0 || size === Infinity) return true;
  if (!isSingle(value) || size > LARGEST_HALF) return false;
  const step = size < SMALLEST_NORMAL_HALF ? SMALLEST_HALF : 2 ** (exponentOf(size) - 10);
  return Number.isInteger(size / step);
}

/** Exponent of a normal single-precision number. */
function exponentOf(size: number): number {
  scratch.setFloat32(0, size);
  return ((scratch.getUint16(0) >> 7) & 0xff) - 127;
}

/** Bits of a number that `isHalf`, neither zero nor infinite. */
function numberToHalf(value: number): number {
  const size = Math.abs(value);
  const sign = value < 0 ? 0x8000 : 0;
  if (size < SMALLEST_NORMAL_HALF) return sign | (size / SMALLEST_HALF);
  const exponent = exponentOf(size);
  return sign | ((exponent + 15) << 10) | (size / 2 ** (exponent - 10) - 1024);
}

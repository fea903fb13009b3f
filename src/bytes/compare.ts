/** From here on a call out of the language costs less than its own loop. */
const LONG = 64;

/** Whether two arrays hold the same bytes. For public values; secrets compare with `equalInConstantTime`. */
export function equal(a: Uint8Array, b: Uint8Array): boolean {
  return a.length === b.length && compare(a, b) === 0;
}

/** Byte-wise lexicographic order, shorter first where one is a prefix: negative, zero or positive. */
export function compare(a: Uint8Array, b: Uint8Array): number {
  const shared = Math.min(a.length, b.length);
  if (shared > LONG) return Buffer.compare(a, b);
  for (let i = 0; i < shared; i++) {
    const difference = a[i]! - b[i]!;
    if (difference !== 0) return difference;
  }
  return a.length - b.length;
}

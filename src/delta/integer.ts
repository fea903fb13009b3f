/** Bytes of an unsigned integer in base 128 (RFC 3284 section 2). */
export function integerSize(value: number): number {
  let size = 1;
  for (let rest = value; rest >= 128; rest = Math.floor(rest / 128)) size++;
  return size;
}

/** Appends an unsigned integer in base 128, most significant digit first (RFC 3284 section 2). */
export function appendInteger(out: number[], value: number): void {
  for (let digit = integerSize(value) - 1; digit > 0; digit--) {
    out.push(0x80 | (Math.floor(value / 128 ** digit) % 128));
  }
  out.push(value % 128);
}

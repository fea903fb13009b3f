/** The bytes from `start` to before `end`: a view, whatever kind of array they are in; it must hold them. */
export function view(bytes: Uint8Array, start: number, end: number): Uint8Array {
  return new Uint8Array(bytes.buffer, bytes.byteOffset + start, end - start);
}

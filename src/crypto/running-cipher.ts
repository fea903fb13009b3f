/** A cipher fed piece by piece: output as long as its input, in memory of its own that nobody else holds. */
export interface RunningCipher {
  update(piece: Uint8Array): Uint8Array;
}

/** The same bytes without the class that Node puts around them; nothing is copied. */
export function plainView(buffer: Buffer): Uint8Array {
  return new Uint8Array(buffer.buffer, buffer.byteOffset, buffer.byteLength);
}

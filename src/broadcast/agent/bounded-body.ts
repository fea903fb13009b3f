/** The body of an answer, of at most `most` bytes. Throws `Error` where there is more. */
export async function boundedBody(answer: Response, most: number): Promise<Uint8Array> {
  const pieces: Uint8Array[] = [];
  let size = 0;
  for await (const piece of answer.body ?? []) {
    size += piece.length;
    if (size > most) throw new Error('it sends more than was asked for');
    pieces.push(piece);
  }
  return Buffer.concat(pieces);
}

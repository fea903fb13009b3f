/** An envelope taken apart and put together again, so that one part of it can be forged. */
import { type ByteSource, concat } from '../../bytes/index.ts';
import { openEnvelope, writeEnvelopeHead } from '../../suit/index.ts';

/** An image inside an envelope, under its URI. */
export interface Integrated {
  readonly key: string;
  readonly bytes: Uint8Array;
}

/** What an envelope is put together from. */
export interface Parts {
  /** The encoded SUIT_Digest of the manifest. */
  readonly digest: Uint8Array;
  /** Encoded authentication blocks. */
  readonly blocks: readonly Uint8Array[];
  /** Content of the manifest's byte string. */
  readonly manifest: Uint8Array;
  /** Severed elements by key. */
  readonly severed: ReadonlyMap<number, Uint8Array>;
  readonly integrated: readonly Integrated[];
}

/** What is handed to a unit: an envelope, and its image where that is detached. */
export interface Offer {
  readonly envelope: Uint8Array;
  readonly image?: Uint8Array | undefined;
}

/** Takes an envelope apart. Throws `SuitError` where it is none. */
export function takeApart(source: ByteSource): Parts {
  const { digest, blocks, manifest, severed, integrated } = openEnvelope(source);
  return {
    digest: digest.encoded,
    blocks: blocks.map(({ bytes }) => bytes),
    manifest,
    severed: new Map([...severed].map(([key, { content }]) => [key, content])),
    integrated: [...integrated].map(([key, { offset, length }]) => ({
      key,
      bytes: source.read(offset, length),
    })),
  };
}

/** Puts an envelope together. */
export function putTogether({ integrated, ...head }: Parts): Uint8Array {
  const pieces = writeEnvelopeHead({
    ...head,
    integrated: integrated.map(({ key, bytes }) => ({ key, length: bytes.length })),
  });
  return concat(...pieces.flatMap((piece, i) => [piece, integrated[i]?.bytes ?? new Uint8Array()]));
}

/** The same bytes with one bit changed, counted from the end where `at` is negative. */
export function oneBit(bytes: Uint8Array, at: number): Uint8Array {
  const changed = new Uint8Array(bytes);
  changed[at < 0 ? bytes.length + at : at]! ^= 1;
  return changed;
}

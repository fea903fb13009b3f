import { compare, concat } from '../bytes/index.ts';
import { encode, encodeHead } from '../cbor/index.ts';
import { ENVELOPE_TAG } from './shell.ts';

/** What an envelope is made of; images stay outside and are announced by key and length in bytes. */
export interface EnvelopeDescription {
  /** The encoded SUIT_Digest of the manifest's byte string. */
  readonly digest: Uint8Array;
  /** Authentication blocks, tagged COSE structures over `digest`. */
  readonly blocks: readonly Uint8Array[];
  /** The manifest, content of its byte string. */
  readonly manifest: Uint8Array;
  /** Severed elements by key, contents of their byte strings. */
  readonly severed: ReadonlyMap<number, Uint8Array>;
  /** Integrated payloads in the order of their encoded keys: shorter keys first. */
  readonly integrated: readonly { readonly key: string; readonly length: number }[];
}

/**
 * Writes a tagged envelope around payloads that are too large to hold ([M] sections 7.5, 8.2 and 8.3). The k-th piece
 * goes out before the k-th payload's bytes; without payloads the one piece is the whole envelope. Text keys sort
 * after all numbers (RFC 8949 section 4.2.1), so the payloads come last. `TypeError` where keys are out of order.
 */
export function writeEnvelopeHead(description: EnvelopeDescription): Uint8Array[] {
  const { digest, blocks, manifest, severed, integrated } = description;
  const elements = new Map([[2, encode([digest, ...blocks])], [3, manifest], ...severed]);
  const keys = [...elements.keys()].sort((a, b) => a - b);
  const start = concat(
    encodeHead(6, ENVELOPE_TAG),
    encodeHead(5, elements.size + integrated.length),
    ...keys.flatMap((key) => [encodeHead(0, key), ...byteString(elements.get(key)!)]),
  );
  const announced = integrated.map(({ key, length }) => [encode(key), encodeHead(2, length)] as const);
  requireAscending(announced.map(([key]) => key));
  if (announced.length === 0) return [start];
  return announced.map((pair, i) => concat(...(i === 0 ? [start] : []), ...pair));
}

/** A byte string in two parts, so that its content is copied once, into the whole. */
function byteString(content: Uint8Array): [Uint8Array, Uint8Array] {
  return [encodeHead(2, content.length), content];
}

function requireAscending(keys: readonly Uint8Array[]): void {
  const wrong = keys.findIndex((key, i) => i > 0 && compare(keys[i - 1]!, key) >= 0);
  if (wrong > 0)
    throw new TypeError('integrated payloads must be listed by ascending encoded key, each key once');
}

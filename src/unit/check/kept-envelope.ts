import { concat } from '../../bytes/index.ts';
import { encode, encodeHead, headLength } from '../../cbor/index.ts';
import type { Envelope } from '../../suit/index.ts';

/** The envelope as a unit keeps it for start-up: its size in bytes, and its bytes once they are wanted. */
export interface KeptEnvelope {
  readonly size: number;
  readonly bytes: () => Uint8Array;
}

/** Tag 107, a map of two, and the key of the authentication wrapper; then the key of the manifest. */
const START = Uint8Array.of(0xd8, 0x6b, 0xa2, 0x02);
const MANIFEST_KEY = Uint8Array.of(0x03);

/**
 * What a start needs of an envelope: digest, the blocks that count (`counting` has their indices), and manifest.
 * Payloads and severed parts are left out; no signature covers their presence (draft-ietf-suit-manifest sections 8.2
 * and 8.3). Most checks only ask for its size.
 */
export function keptEnvelope(
  { digest, blocks, manifestBstr }: Envelope,
  counting: readonly number[],
): KeptEnvelope {
  const wrapped = [digest.encoded, ...counting.map((block) => blocks[block]!.bytes)];
  let wrapperSize = headLength(wrapped.length);
  for (const { length } of wrapped) wrapperSize += headLength(length) + length;
  const frame = START.length + headLength(wrapperSize) + MANIFEST_KEY.length;
  return {
    size: frame + wrapperSize + manifestBstr.length,
    bytes: () => concat(START, encodeHead(2, wrapperSize), encode(wrapped), MANIFEST_KEY, manifestBstr),
  };
}

import { concat } from '../../bytes/index.ts';
import { encode, encodeHead, headLength } from '../../cbor/index.ts';
import type { Envelope } from '../../suit/index.ts';
import type { Family } from './family.ts';

/** The envelope as a unit keeps it for start-up: its size in bytes, and its bytes once they are wanted. */
export interface KeptEnvelope {
  readonly size: number;
  readonly bytes: () => Uint8Array;
}

/** Tag 107, then a map that begins with the key of the authentication wrapper; later the key of the manifest. */
const TAG = Uint8Array.of(0xd8, 0x6b);
const WRAPPER_KEY = Uint8Array.of(0x02);
const MANIFEST_KEY = Uint8Array.of(0x03);

/**
 * What a start needs of an envelope: digest, the blocks that count (`counting` has their indices), and manifest; and
 * in the place of payloads the same of each manifest that it depends on, found again by its digest.
 * Payloads and severed parts are left out; no signature covers their presence (draft-ietf-suit-manifest sections 8.2
 * and 8.3). Most checks only ask for its size.
 */
export function keptEnvelope(
  { digest, blocks, manifestBstr }: Envelope,
  counting: readonly number[],
  family?: Family,
): KeptEnvelope {
  const members = (family?.members ?? []).map(({ envelope, vouched }, i) => ({
    key: encode(`#${i}`),
    kept: keptEnvelope(envelope, vouched.blocks),
  }));
  const wrapped = [digest.encoded, ...counting.map((block) => blocks[block]!.bytes)];
  let wrapperSize = headLength(wrapped.length);
  for (const { length } of wrapped) wrapperSize += headLength(length) + length;
  let size = TAG.length + 1 + WRAPPER_KEY.length + headLength(wrapperSize) + wrapperSize;
  size += MANIFEST_KEY.length + manifestBstr.length;
  for (const { key, kept } of members) size += key.length + headLength(kept.size) + kept.size;
  return {
    size,
    bytes: () =>
      concat(
        TAG,
        encodeHead(5, 2 + members.length),
        WRAPPER_KEY,
        encodeHead(2, wrapperSize),
        encode(wrapped),
        MANIFEST_KEY,
        manifestBstr,
        ...members.flatMap(({ key, kept }) => [key, encodeHead(2, kept.size), kept.bytes()]),
      ),
  };
}

import { type ByteSource, toHex } from '../../bytes/index.ts';
import { decodeCose, type KeyUnwrapper, LABEL, macStructure0 } from '../../cose/index.ts';
import { hmacSha256, randomBytes } from '../../crypto/index.ts';
import { openEnvelope, SuitError } from '../../suit/index.ts';

/**
 * A payload as units with stand-in keys see it. No secret of a class is opened for a rehearsal: each COSE_Mac0 is made
 * again with a throwaway key, of the same length and in the same place, and units hold that key under the id of theirs.
 * Whether the real key made the real MAC is not judged so.
 */
export interface StandIn {
  readonly envelope: ByteSource;
  /** The throwaway key. */
  readonly macKey: Uint8Array;
  /** Whether a MAC was made again. */
  readonly replaced: boolean;
}

const TAG_LENGTH = 32;

/** The payload with stand-in MACs; the file itself is not changed, and its images are not read. */
export function withStandInMacs(source: ByteSource): StandIn {
  const macKey = randomBytes(32);
  const patches = patchesFor(source, macKey);
  return { envelope: overlay(source, patches), macKey, replaced: patches.length > 0 };
}

interface Patch {
  readonly offset: number;
  readonly bytes: Uint8Array;
}

function patchesFor(source: ByteSource, macKey: Uint8Array): Patch[] {
  try {
    const { blocks, digest } = openEnvelope(source);
    return blocks.flatMap(({ bytes, span }) => {
      const message = decodeCose(bytes);
      if (message.kind !== 'mac0' || message.tagBytes.length !== TAG_LENGTH) return [];
      const tag = hmacSha256(macKey, macStructure0(message.headers.protectedBytes, digest.encoded));
      // The tag is the last element of a COSE_Mac0 (RFC 9052 section 6.2), and the block ends with it.
      return [{ offset: span.end - TAG_LENGTH, bytes: tag }];
    });
  } catch (error) {
    if (error instanceof SuitError || (error as Error).name === 'CoseError') return [];
    throw error;
  }
}

function overlay(source: ByteSource, patches: readonly Patch[]): ByteSource {
  if (patches.length === 0) return source;
  return {
    size: source.size,
    read(offset, length) {
      const bytes = source.read(offset, length);
      const touched = patches.filter(
        (patch) => patch.offset < offset + length && patch.offset + TAG_LENGTH > offset,
      );
      if (touched.length === 0) return bytes;
      const changed = new Uint8Array(bytes);
      for (const patch of touched) {
        const from = Math.max(0, offset - patch.offset);
        const to = Math.min(TAG_LENGTH, offset + length - patch.offset);
        changed.set(patch.bytes.subarray(from, to), patch.offset + from - offset);
      }
      return changed;
    },
  };
}

/**
 * Stands in for the key that opens a content key: finds the recipient that names it, and gives a key that opens nothing.
 * So the check shows whether a unit is among the recipients; what comes out of the decryption it cannot show.
 */
export function standInUnwrapper(keyId: string): KeyUnwrapper {
  return {
    unwrap({ headers }, { content }) {
      const kid = headers.get(LABEL.kid);
      if (kid?.type !== 'bytes' || toHex(kid.value) !== keyId) return undefined;
      return { ok: true, key: randomBytes(content.keyLength) };
    },
  };
}

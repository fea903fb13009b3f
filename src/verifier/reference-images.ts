import { type ByteSource, eachPiece, equal, slice, sourceOf } from '../bytes/index.ts';
import { startSha256 } from '../crypto/index.ts';
import { ImageError, imageForSlot, type MemoryMap } from '../image/index.ts';
import { openEnvelope } from '../suit/index.ts';
import { fileSource } from '../workspace/index.ts';

/** Files that a maker has of a release: its envelope, its image as firmware file or as it was given out. */
export interface ReferenceFiles {
  /** The image with that SHA-256, from whichever file holds it in clear; undefined where none does. */
  find(digest: Uint8Array, memory: MemoryMap): ByteSource | undefined;
  close(): void;
}

/** Opens the files that --envelope and --image name. Throws `SuitError` for an envelope that is none, and disk trouble. */
export function openReferences(envelope: string | undefined, image: string | undefined): ReferenceFiles {
  const files = [envelope, image].map((path) => (path === undefined ? undefined : fileSource(path)));
  const [sealed, firmware] = files;
  const inside = sealed ? payloadsOf(sealed) : [];
  return {
    find(digest, memory) {
      const candidates = [...inside, ...(firmware ? [firmware, ...laidOut(firmware, memory)] : [])];
      return candidates.find((each) => equal(digestOf(each), digest));
    },
    close() {
      for (const file of files) file?.close();
    },
  };
}

function payloadsOf(envelope: ByteSource): ByteSource[] {
  const { integrated } = openEnvelope(envelope);
  return [...integrated.values()].map(({ offset, length }) => slice(envelope, offset, length));
}

/** A firmware file as each slot would hold it; none where it is no such file. */
function laidOut(firmware: ByteSource, memory: MemoryMap): ByteSource[] {
  return memory.slots.flatMap(({ name }) => {
    try {
      return [imageForSlot(firmware, memory, { slotName: name }).source];
    } catch (error) {
      if (error instanceof ImageError) return [];
      throw error;
    }
  });
}

function digestOf(source: ByteSource): Uint8Array {
  const hash = startSha256();
  eachPiece(source, (piece) => hash.update(piece));
  return hash.digest();
}

/** A recovery image, as it was given to the production line. */
export function recoveryImage(path: string | undefined): ByteSource | undefined {
  if (path === undefined) return undefined;
  const file = fileSource(path);
  try {
    return sourceOf(new Uint8Array(file.read(0, file.size)));
  } finally {
    file.close();
  }
}

import { type ByteSource, slice, toHex } from '../../bytes/index.ts';
import { openEnvelope } from '../../suit/index.ts';

/** Images of releases that units may run, in slot order, by the digest of their manifest (lower-case hexadecimal). */
export type RunningImages = ReadonlyMap<string, readonly ByteSource[]>;

/** The images inside some envelopes. A delta inside is none. Throws `SuitError` on what is no envelope. */
export function runningImages(envelopes: readonly ByteSource[]): RunningImages {
  return new Map(
    envelopes.map((source) => {
      const { digest, integrated } = openEnvelope(source);
      const images = [...integrated]
        .filter(([key]) => !key.startsWith('#delta'))
        .map(([, { offset, length }]) => slice(source, offset, length));
      return [toHex(digest.bytes), images] as const;
    }),
  );
}

/** What a unit that runs this manifest in this slot holds there; undefined where its image is not at hand. */
export function imageInSlot(
  running: RunningImages,
  manifestDigest: string | undefined,
  slot: number,
): ByteSource | undefined {
  const images = manifestDigest === undefined ? undefined : running.get(manifestDigest);
  return images && (images[slot] ?? images[0]);
}

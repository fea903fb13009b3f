import { linkRegion } from '../image/index.ts';
import type { DeviceClass, Json, JsonObject } from '../workspace/index.ts';
import type { Evidence } from './schema.ts';

type ImageEvidence = Evidence['images'][number];

/** The images of a release and how they fit the memory of its class. Sizes in bytes. */
export function imagesOf(facts: JsonObject, { memory }: DeviceClass): ImageEvidence[] {
  return (facts.images as JsonObject[]).map((image) => {
    const slot = String(image.slot);
    const source = image.source as JsonObject;
    const ciphertext = image.ciphertext as JsonObject | null;
    const delta = image.delta as JsonObject | null | undefined;
    return {
      slot,
      digest: String(image.digest),
      size_bytes: Number(image.size_bytes),
      address: Number(image.address),
      room_bytes: (linkRegion(memory, slot) ?? linkRegion(memory))?.size ?? 0,
      source: String(source.file),
      source_sha256: String(source.sha256),
      ciphertext_digest: ciphertext ? String(ciphertext.digest) : null,
      delta: delta
        ? {
            digest: String(delta.digest),
            size_bytes: Number(delta.size_bytes),
            precursor_digest: String((delta.precursor as JsonObject).digest),
          }
        : null,
      gaps: lengthOf(image.gaps),
      left_out: lengthOf(image.left_out),
    };
  });
}

/** What a release brings beside the image that runs: images of further components, and envelopes of other authors. */
export function partsOf(facts: JsonObject): Pick<Evidence, 'components' | 'dependencies'> {
  return {
    components: listOf(facts.components).map((part) => ({
      name: String(part.name),
      digest: String(part.digest),
      size_bytes: Number(part.size_bytes),
      file: String(part.file),
    })),
    dependencies: listOf(facts.dependencies).map((part) => ({
      name: String(part.name),
      manifest_digest: String(part.manifest_digest),
      sequence_number: String(part.sequence_number),
      root: String(part.root),
      signer: String(part.signer),
    })),
  };
}

function listOf(value: Json | undefined): JsonObject[] {
  return Array.isArray(value) ? (value as JsonObject[]) : [];
}

function lengthOf(value: Json | undefined): number {
  return Array.isArray(value) ? value.length : 0;
}

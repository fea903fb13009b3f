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
    return {
      slot,
      digest: String(image.digest),
      size_bytes: Number(image.size_bytes),
      address: Number(image.address),
      room_bytes: (linkRegion(memory, slot) ?? linkRegion(memory))?.size ?? 0,
      source: String(source.file),
      source_sha256: String(source.sha256),
      ciphertext_digest: ciphertext ? String(ciphertext.digest) : null,
      gaps: lengthOf(image.gaps),
      left_out: lengthOf(image.left_out),
    };
  });
}

function lengthOf(value: Json | undefined): number {
  return Array.isArray(value) ? value.length : 0;
}

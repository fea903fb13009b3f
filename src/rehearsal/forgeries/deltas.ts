/** The release as a delta from the release before it, for the stand-in: what a thin link would carry. */
import { concat, sourceOf } from '../../bytes/index.ts';
import type { CborValue } from '../../cbor/index.ts';
import { sha256 } from '../../crypto/index.ts';
import { makeDelta, surveyDelta } from '../../delta/index.ts';
import { deltaUris, describeRelease, type ImageDelta, parseUuid, writeManifest } from '../../suit/index.ts';
import { Draft, decodeValue, ELEMENT, type Pairs } from './draft.ts';
import { namedImages } from './images.ts';
import type { Lab } from './lab.ts';
import type { Offer } from './parts.ts';

const TRY_EACH = 15;

/** What is wrong with it. */
export interface DeltaChanges {
  /** What a genuine delta is replaced by before it is sealed. */
  readonly delta?: (genuine: Uint8Array, lab: Lab) => Uint8Array;
  /** What the manifest says of it. */
  readonly says?: (delta: ImageDelta, lab: Lab) => Partial<ImageDelta>;
  /** What becomes of it on the way. */
  readonly onTheWay?: (delta: Uint8Array) => Uint8Array;
  /** The manifest that is sealed; the whole image, which it names as the other way, is not at hand. */
  readonly draft?: (draft: Draft) => void | Promise<void>;
}

/** The image that the stand-in runs, and the one that it is to run. */
export function imagesOf(lab: Lab): { readonly runs: Uint8Array; readonly wanted: Uint8Array } {
  const { field, unsealed } = lab;
  const named = namedImages(unsealed.parts);
  const slot = Math.min(field.readySlot, named.length - 1);
  const { uri, size } = named[slot]!;
  const integrated = unsealed.parts.integrated.find(({ key }) => key === uri);
  const running = field.part(field.at('kept'), field.layout.flash.slots[field.slots.running]!);
  return { runs: running.slice(0, size), wanted: integrated?.bytes ?? unsealed.image! };
}

/** A delta between two images, in windows that the unit has room for. */
export function deltaBetween(runs: Uint8Array, wanted: Uint8Array, windowSize: number): Uint8Array {
  return concat(...makeDelta({ precursor: sourceOf(runs), target: sourceOf(wanted), windowSize }));
}

const genuine = new WeakMap<Lab, Uint8Array>();

/** The delta between what runs and what is to run, made once for all rows. */
function genuineOf(lab: Lab): Uint8Array {
  const known = genuine.get(lab);
  if (known) return known;
  const { runs, wanted } = imagesOf(lab);
  const made = deltaBetween(runs, wanted, lab.field.record.memory.delta_window!);
  genuine.set(lab, made);
  return made;
}

/** The payload as a delta, sealed for the stand-in. A whole image beside it is not offered. */
export async function deltaOffer(lab: Lab, changes: DeltaChanges): Promise<Offer> {
  const { runs, wanted } = imagesOf(lab);
  const sound = genuineOf(lab);
  const delta = changes.delta?.(sound, lab) ?? sound;
  const { shape } = lab.field.record.memory;
  const uris = deltaUris(shape);
  const described = { ...deltaFacts(delta, sound, runs), uri: uris[0]! };
  const draft = draftOf(lab, { ...described, ...changes.says?.(described, lab) }, wanted, uris);
  await changes.draft?.(draft);
  const bytes = changes.onTheWay?.(delta) ?? delta;
  const { envelope } = await lab.sealParts({
    ...lab.unsealed.parts,
    manifest: draft.write(),
    severed: draft.severed,
    integrated: uris.map((key) => ({ key, bytes })),
  });
  return { envelope };
}

function deltaFacts(delta: Uint8Array, genuine: Uint8Array, runs: Uint8Array): Omit<ImageDelta, 'uri'> {
  return {
    digest: sha256(delta),
    sizeBytes: delta.length,
    windowBytes: surveyDelta(sourceOf(genuine)).largestWindow,
    precursor: { digest: sha256(runs), sizeBytes: runs.length },
  };
}

function draftOf(lab: Lab, delta: ImageDelta, wanted: Uint8Array, uris: readonly string[]): Draft {
  const { record } = lab.field;
  const image = { digest: sha256(wanted), sizeBytes: wanted.length };
  const written = writeManifest(
    describeRelease({
      shape: record.memory.shape,
      sequenceNumber: lab.draft().number,
      vendorId: lab.vendorId,
      classId: parseUuid(record.class_ids.at(-1)!),
      start: true,
      images: uris.map((uri, i) => ({
        ...image,
        uri: `https://depot.example/whole-${i}`,
        delta: { ...delta, uri },
      })),
    }),
  );
  return new Draft({ ...lab.unsealed.parts, ...written });
}

/** The section that applies a delta. */
export function applying(draft: Draft): number {
  return draft.elements.has(ELEMENT.fetch) ? ELEMENT.fetch : ELEMENT.install;
}

/** The section that applies the delta, with no other way beside it. */
export function straight(draft: Draft): Pairs {
  const pairs = draft.section(applying(draft));
  const result: CborValue[] = [];
  for (let i = 0; i < pairs.length; i += 2) {
    const argument = pairs[i + 1]!;
    if (pairs[i] !== TRY_EACH || !Array.isArray(argument)) result.push(pairs[i]!, argument);
    else result.push(...(decodeValue(argument[0] as Uint8Array) as Pairs));
  }
  return result;
}

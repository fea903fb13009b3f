import { equal } from '../../bytes/index.ts';
import { MAIN_COMPONENT, type Manifest } from '../../suit/index.ts';
import { type Place, prepareRecord } from '../prepared.ts';
import type { Trace } from '../trace.ts';
import type { Circumstances } from './condition-rows.ts';
import type { Family } from './family.ts';
import { judgeComponents } from './fit-components.ts';
import { followStart, judgeStart, type StartOnPaper } from './fit-start.ts';

/** An image as a manifest names it: SHA-256, 32 bytes, and size in bytes. */
export interface NamedImage {
  readonly digest: Uint8Array;
  readonly size: number;
}

/** Images by component: the one that runs, then those of further components in the order of the memory map. */
export type NamedImages = readonly [NamedImage, ...NamedImage[]];

/**
 * Step 7: the components are those of the unit; the validate sequence, which is what every start will run, names
 * one image for each, with digest and size; each fits its place; the manifest leads to a start; and the envelope fits
 * the area that keeps it. What dependencies do counts with it. `kept`: bytes of the envelope as it is kept for start-up.
 * draft-ietf-suit-manifest sections 6.2, 7.2, 8.4.5 and 8.4.8.
 */
export function judgeFit(
  trace: Trace,
  manifest: Manifest,
  circumstances: Circumstances,
  kept: number,
  family?: Family,
): NamedImages {
  trace.enter('fit');
  judgeComponents(trace, manifest, circumstances, family);
  const start = followStart(manifest, circumstances, family);
  const { places } = prepareRecord(circumstances.unit.record);
  const main = judgeNamedImage(trace, start, MAIN);
  judgeSize(trace, main, circumstances, MAIN);
  const further: NamedImage[] = [];
  for (const place of places) {
    if (place.further === undefined) continue;
    const image = judgeNamedImage(trace, start, place);
    judgeSize(trace, image, circumstances, place);
    further.push(image);
  }
  trace.facts.images = [main, ...further.map((image, i) => ({ ...image, component: places[i + 1]!.role }))];
  judgeStart(trace, start, circumstances);
  judgeEnvelopeArea(trace, circumstances, kept);
  return [main, ...further];
}

const MAIN: Place = { role: 'main', identifier: MAIN_COMPONENT, further: undefined };
function judgeNamedImage(trace: Trace, { named: all, outcome }: StartOnPaper, place: Place): NamedImage {
  const named = all.get(place.role) ?? [];
  const digest = named[0]?.get(3)?.bytes;
  const single = digest !== undefined && named.every((each) => equal(each.get(3)!.bytes, digest));
  const found = single ? digest : `${named.length} digests`;
  const question = {
    what: `digest that the validate sequence compares ${imageText(place)} with`,
    expected: 'one',
    found,
    source: 'draft-ietf-suit-manifest 7.2, 8.4.8.6',
  };
  if (!outcome.ok && outcome.at?.section !== 'invoke') {
    trace.refuse('image-not-named', question, outcome.detail);
  }
  if (!single) trace.refuse('image-not-named', question);
  trace.holds(question);
  const size = named[0]!.get(14);
  if (size === undefined) {
    const where = { what: `size of ${imageText(place)}`, expected: 'a size in bytes', found: 'none' };
    trace.refuse('image-size-missing', { ...where, source: 'draft-ietf-suit-manifest 8.5; RFC 9124 4.3.15' });
  }
  return { digest, size };
}

function imageText({ role, further }: Place): string {
  return further === undefined ? 'the image' : `the image of ${role}`;
}

/** A staged image passes through both slots; a further component has an area of its own for each slot. */
function judgeSize(trace: Trace, { size }: NamedImage, { unit, slot }: Circumstances, place: Place): void {
  const { shape, slots, components = [] } = unit.record.memory;
  const own = shape === 'staged' ? Math.min(...slots.map((each) => each.size)) : slots[slot]!.size;
  const room = place.further === undefined ? own : components[place.further]!.areas[slot]!.size;
  const source = 'draft-ietf-suit-manifest 8.4.8.7; RFC 9124 4.3.6';
  const what = `size of ${imageText(place)} in bytes`;
  trace.require(size > 0, 'image-empty', { what, expected: 'more than 0', found: size, source });
  trace.require(size <= room, 'image-too-large', {
    what,
    expected: () =>
      place.further === undefined
        ? `at most ${room}, the size of slot ${slots[slot]!.name}`
        : `at most ${room}, the size of its area`,
    found: size,
    source,
  });
}

function judgeEnvelopeArea(trace: Trace, { unit }: Circumstances, kept: number): void {
  const { envelopes, slots } = unit.record.memory;
  const room = Math.floor(envelopes.size / slots.length);
  trace.require(kept <= room, 'envelope-area-too-small', {
    what: 'envelope as it is kept for start-up, in bytes',
    expected: () => `at most ${room}`,
    found: kept,
    source: 'draft-ietf-suit-manifest 4.2; docs/deployment-profile.md',
  });
}

import { DOWNLOAD_COMPONENT, PRECURSOR_COMPONENT, STAGING_COMPONENT } from './component-names.ts';
import { VCDIFF } from './delta-info.ts';
import { override, type SequenceDescription, setIndex, tryEach } from './description.ts';
import type { ImageDelta, ReleaseImage, ReleaseShape } from './release-facts.ts';
import {
  compatibility,
  content,
  copy,
  fetch,
  identity,
  imageMatches,
  inSlot,
  invoke,
  sections,
  type Template,
} from './template-parts.ts';

/** The custom parameter by which a copy applies a delta (docs/deployment-profile.md section 14). */
const DELTA_INFO = -257;
const MAIN = 0;
const STAGING = 1;

/**
 * A release by delta, with the whole image as the other way, in one manifest ([M] section 8.4.10.2): where what runs is
 * the precursor, the delta is fetched, compared and applied to it; everywhere else the image itself is fetched. Either
 * way what lies in the slot is then compared with the one digest of the release.
 */
export function deltaTemplate(shape: ReleaseShape): Template {
  if (shape === 'staged') return staged;
  return shape === 'linked' ? linked : oneImage;
}

/** Where a delta goes: the component that it makes, what it is made from, and what is being fetched. */
interface Places {
  readonly made: number;
  readonly precursor: number;
  readonly download: number;
}

/** The condition comes first, so that a unit that runs something else does not even fetch the delta. */
function byDelta({ made, precursor, download }: Places, delta: ImageDelta): SequenceDescription {
  const { digest, sizeBytes, uri, windowBytes: window } = delta;
  return [
    setIndex(precursor),
    override(content(delta.precursor)),
    imageMatches,
    setIndex(download),
    override({ ...content({ digest, sizeBytes }), 21: uri }),
    fetch,
    imageMatches,
    setIndex(made),
    override({ [DELTA_INFO]: { format: VCDIFF, window, precursor }, 22: download }),
    copy,
  ];
}

function whole(made: number, { uri }: ReleaseImage): SequenceDescription {
  return [setIndex(made), override({ 21: uri! }), fetch];
}

const oneImage: Template = (facts, component) => {
  const image = facts.images[0]!;
  const places = { made: MAIN, precursor: 1, download: 2 };
  return {
    components: [component, PRECURSOR_COMPONENT, DOWNLOAD_COMPONENT],
    shared: [setIndex(MAIN), override({ ...identity(facts), ...content(image) }), ...compatibility(facts)],
    sequences: sections({
      install: [
        setIndex(MAIN),
        tryEach(byDelta(places, image.delta!), whole(MAIN, image)),
        setIndex(MAIN),
        imageMatches,
      ],
      validate: [setIndex(MAIN), imageMatches],
      invoke: facts.start ? [setIndex(MAIN), invoke] : [],
    }),
  };
};

/** The slot that is free decides which image is made, and so which one runs and is its precursor. */
const linked: Template = (facts, component) => {
  const places = { made: MAIN, precursor: 1, download: 2 };
  const deltas = facts.images.map(({ delta }, slot) => [
    setIndex(MAIN),
    ...inSlot(slot, undefined),
    ...byDelta(places, delta!),
  ]);
  const images = facts.images.map(({ uri }, slot) => [setIndex(MAIN), ...inSlot(slot, { 21: uri! }), fetch]);
  const named = facts.images.map((image, slot) => inSlot(slot, content(image)));
  const chosen = facts.images.map((_, slot) => inSlot(slot, undefined));
  return {
    components: [component, PRECURSOR_COMPONENT, DOWNLOAD_COMPONENT],
    shared: [setIndex(MAIN), override(identity(facts)), tryEach(...named), ...compatibility(facts)],
    sequences: sections({
      install: [setIndex(MAIN), tryEach(...deltas, ...images), setIndex(MAIN), imageMatches],
      validate: [setIndex(MAIN), imageMatches],
      invoke: facts.start ? [setIndex(MAIN), tryEach(...chosen), invoke] : [],
    }),
  };
};

/** The image is made in the staging area, whole, and compared there, so that a start copies it as any other. */
const staged: Template = (facts, component) => {
  const image = facts.images[0]!;
  const places = { made: STAGING, precursor: 2, download: 3 };
  return {
    components: [component, STAGING_COMPONENT, PRECURSOR_COMPONENT, DOWNLOAD_COMPONENT],
    shared: [setIndex(MAIN), override({ ...identity(facts), ...content(image) }), ...compatibility(facts)],
    sequences: sections({
      'payload-fetch': [
        setIndex(STAGING),
        override(content(image)),
        tryEach(byDelta(places, image.delta!), whole(STAGING, image)),
        setIndex(STAGING),
        imageMatches,
      ],
      install: [setIndex(MAIN), override({ 22: STAGING }), copy, imageMatches],
      validate: [setIndex(MAIN), imageMatches],
      invoke: facts.start ? [setIndex(MAIN), invoke] : [],
    }),
  };
};

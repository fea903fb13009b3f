import { DOWNLOAD_COMPONENT, MAIN_COMPONENT, STAGING_COMPONENT } from './component-names.ts';
import type { ComponentIdentifier } from './components.ts';
import { deltaTemplate } from './delta-template.ts';
import {
  type CommandDescription,
  type ManifestDescription,
  override,
  setIndex,
  tryEach,
} from './description.ts';
import type { ParameterTypes } from './parameters.ts';
import type {
  ImageEncryption,
  ReleaseFacts,
  ReleaseImage,
  ReleaseShape,
  ReleaseText,
} from './release-facts.ts';
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
import type { TextInLanguage } from './text.ts';
import { parseVersion } from './version.ts';

/** URIs of integrated images: fragments that equal the envelope's text keys ([M] section 7.5), in slot order. */
export function integratedUris(shape: ReleaseShape): readonly string[] {
  return shape === 'linked' ? ['#image-a', '#image-b'] : ['#image'];
}

/** The same for integrated deltas. */
export function deltaUris(shape: ReleaseShape): readonly string[] {
  return shape === 'linked' ? ['#delta-a', '#delta-b'] : ['#delta'];
}

/**
 * The manifest of a release by the templates of [M] section 7: compatibility check (7.1), trusted invocation (7.2),
 * download (7.3) with an integrated or a detached payload (7.5), A/B images (7.7), or download to staging and
 * install (7.3, 7.4). Text is severed. Throws `TypeError` where the images do not suit the shape.
 */
export function describeRelease(facts: ReleaseFacts): ManifestDescription {
  requireImages(facts);
  const component = facts.component ?? MAIN_COMPONENT;
  return {
    sequenceNumber: facts.sequenceNumber,
    ...templateOf(facts)(facts, component),
    text: facts.text && describeText(facts.text, component),
    referenceUri: facts.referenceUri,
    setVersion: facts.version === undefined ? undefined : parseVersion(facts.version),
    sever: severedOf(facts),
  };
}

/** What decrypts on the fly is of no use at start-up, so that no unit needs to keep it. */
function severedOf({ shape, images }: ReleaseFacts): ('text' | 'install')[] {
  const onTheFly = shape !== 'staged' && images.some(({ encryption }) => encryption);
  return onTheFly ? ['install', 'text'] : ['text'];
}

function requireImages({ shape, images }: ReleaseFacts): void {
  const wanted = shape === 'linked' ? 2 : 1;
  if (images.length !== wanted) {
    throw new TypeError(`a release of shape '${shape}' has ${wanted} image(s); ${images.length} were given`);
  }
  const fetched = images.filter((image) => image.uri !== undefined).length;
  if (fetched > 0 && fetched < wanted) throw new TypeError('give a URI for every image, or for none');
  if (shape === 'staged' && fetched === 0) throw new TypeError('a staged release needs the URI of its image');
  const encrypted = images.filter(({ encryption }) => encryption).length;
  if (encrypted > 0 && (encrypted < wanted || fetched < wanted))
    throw new TypeError('an encrypted release has an encryption and a URI for every image');
  const deltas = images.filter(({ delta }) => delta).length;
  if (deltas > 0 && (deltas < wanted || fetched < wanted || encrypted > 0))
    throw new TypeError('a release by delta has a delta and the URI of a plain image for every image');
}

function templateOf({ shape, images }: ReleaseFacts): Template {
  return images.some(({ delta }) => delta) ? deltaTemplate(shape) : TEMPLATES[shape];
}

/** One component, so no component index is set ([M] section 7, first note). */
const oneImage: Template = (facts, component) => {
  const image = facts.images[0]!;
  if (image.encryption) return onTheFly(facts, component, image, image.encryption);
  return {
    components: [component],
    shared: [override({ ...identity(facts), ...content(image) }), ...compatibility(facts)],
    sequences: sections({
      install: image.uri === undefined ? [] : [override({ 21: image.uri }), fetch, imageMatches],
      validate: [imageMatches],
      invoke: facts.start ? [invoke] : [],
    }),
  };
};

/** A/B images ([M] section 7.7): what the slot is decides the digest, the source and the start. */
const linked: Template = (facts, component) => {
  const bySlot = (more: (image: ReleaseImage) => Partial<ParameterTypes> | undefined): CommandDescription =>
    tryEach(...facts.images.map((image, slot) => inSlot(slot, more(image))));
  const fetched = facts.images.every((image) => image.uri !== undefined);
  if (facts.images.every(({ encryption }) => encryption)) return linkedOnTheFly(facts, component, bySlot);
  return {
    components: [component],
    shared: [override(identity(facts)), bySlot(content), ...compatibility(facts)],
    sequences: sections({
      install: fetched ? [bySlot((image) => ({ 21: image.uri! })), fetch, imageMatches] : [],
      validate: [imageMatches],
      invoke: facts.start ? [bySlot(() => undefined), invoke] : [],
    }),
  };
};

/**
 * Decryption without a staging area ([FE] section 4.2): component 1 is what is being fetched, which no memory holds; the
 * copy decrypts it on its way into component 0. The digest of what comes out is compared before anything counts.
 */
function onTheFly(
  facts: ReleaseFacts,
  component: ComponentIdentifier,
  image: ReleaseImage,
  { info, sizeBytes }: ImageEncryption,
): ReturnType<Template> {
  return {
    components: [component, DOWNLOAD_COMPONENT],
    shared: [setIndex(0), override({ ...identity(facts), ...content(image) }), ...compatibility(facts)],
    sequences: sections({
      'payload-fetch': [setIndex(1), override({ 14: sizeBytes, 21: image.uri! }), fetch],
      install: [setIndex(0), override({ 19: info, 22: 1 }), copy, imageMatches],
      validate: [setIndex(0), imageMatches],
      invoke: facts.start ? [setIndex(0), invoke] : [],
    }),
  };
}

/** The same for A/B images: the slot decides which ciphertext is fetched and how it is decrypted. */
function linkedOnTheFly(
  facts: ReleaseFacts,
  component: ComponentIdentifier,
  bySlot: (more: (image: ReleaseImage) => Partial<ParameterTypes> | undefined) => CommandDescription,
): ReturnType<Template> {
  const fetchedBySlot = tryEach(
    ...facts.images.map(({ uri, encryption }, slot) => [
      setIndex(0),
      ...inSlot(slot, undefined),
      setIndex(1),
      override({ 14: encryption!.sizeBytes, 21: uri! }),
    ]),
  );
  const infoBySlot = bySlot(({ encryption }) => ({ 19: encryption!.info, 22: 1 }));
  return {
    components: [component, DOWNLOAD_COMPONENT],
    shared: [setIndex(0), override(identity(facts)), bySlot(content), ...compatibility(facts)],
    sequences: sections({
      'payload-fetch': [setIndex(0), fetchedBySlot, setIndex(1), fetch],
      install: [setIndex(0), infoBySlot, copy, imageMatches],
      validate: [setIndex(0), imageMatches],
      invoke: facts.start ? [setIndex(0), bySlot(() => undefined), invoke] : [],
    }),
  };
}

/** Component 0 runs, component 1 is the staging area ([M] sections 7.3 and 7.4). A ciphertext is compared there ([FE] 4.3). */
const staged: Template = (facts, component) => {
  const image = facts.images[0]!;
  const { encryption } = image;
  const staged = content(encryption ?? image);
  const decryption = encryption ? { 19: encryption.info } : {};
  return {
    components: [component, STAGING_COMPONENT],
    shared: [setIndex(0), override({ ...identity(facts), ...content(image) }), ...compatibility(facts)],
    sequences: sections({
      'payload-fetch': [setIndex(1), override({ ...staged, 21: image.uri! }), fetch, imageMatches],
      install: [setIndex(0), override({ ...decryption, 22: 1 }), copy, imageMatches],
      validate: [setIndex(0), imageMatches],
      invoke: facts.start ? [setIndex(0), invoke] : [],
    }),
  };
};

const TEMPLATES: Readonly<Record<ReleaseShape, Template>> = {
  remapped: oneImage,
  'position-independent': oneImage,
  linked,
  staged,
};

function describeText(
  text: ReleaseText,
  identifier: ComponentIdentifier,
): ReadonlyMap<string, TextInLanguage> {
  const manifest = present([
    [1, text.manifestDescription],
    [2, text.updateDescription],
  ]);
  const texts = present([
    [1, text.vendorName],
    [2, text.modelName],
    [3, text.vendorDomain],
    [4, text.modelInfo],
    [5, text.componentDescription],
    [6, text.componentVersion],
  ]);
  return new Map([[text.language, { manifest, components: texts.size > 0 ? [{ identifier, texts }] : [] }]]);
}

function present(all: readonly (readonly [number, string | undefined])[]): ReadonlyMap<number, string> {
  return new Map(all.filter((entry): entry is [number, string] => entry[1] !== undefined));
}

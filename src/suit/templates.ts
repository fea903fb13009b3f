import { fromUtf8 } from '../bytes/index.ts';
import type { ComponentIdentifier } from './components.ts';
import {
  type CommandDescription,
  command,
  type ManifestDescription,
  override,
  type SequenceDescription,
  setIndex,
  tryEach,
} from './description.ts';
import { SHA_256 } from './digest.ts';
import type { SectionName } from './manifest.ts';
import type { ParameterTypes } from './parameters.ts';
import type { TextInLanguage } from './text.ts';
import { parseVersion } from './version.ts';

/** Reporting policies of the draft's own examples ([M] Appendix B, table of policies). */
const REPORT_ALL = 15;
const REPORT_SUCCESS = 5;
const RECORD_FAILURE = 2;

const vendorMatches = command(1, REPORT_ALL);
const classMatches = command(2, REPORT_ALL);
const deviceMatches = command(24, REPORT_ALL);
const imageMatches = command(3, REPORT_ALL);
const slotMatches = command(5, REPORT_SUCCESS);
const fetch = command(21, RECORD_FAILURE);
const copy = command(22, RECORD_FAILURE);
const invoke = command(23, RECORD_FAILURE);

/** How a class places images: one image for either slot, one image per slot, or a staging area. */
export type ReleaseShape = 'remapped' | 'position-independent' | 'linked' | 'staged';

/** The component that runs. */
export const MAIN_COMPONENT: ComponentIdentifier = [fromUtf8('main')];
/** Where a staged image waits before it is copied. */
export const STAGING_COMPONENT: ComponentIdentifier = [fromUtf8('staging')];

/** What is being fetched where no memory holds it: it passes through decryption into the slot that is free. */
export const DOWNLOAD_COMPONENT: ComponentIdentifier = [fromUtf8('download')];

/** URIs of integrated images: fragments that equal the envelope's text keys ([M] section 7.5), in slot order. */
export function integratedUris(shape: ReleaseShape): readonly string[] {
  return shape === 'linked' ? ['#image-a', '#image-b'] : ['#image'];
}

/** One image of a release. */
export interface ReleaseImage {
  /** SHA-256 over the image, 32 bytes. */
  readonly digest: Uint8Array;
  readonly sizeBytes: number;
  /** Where it is fetched from; without it the manifest only checks and starts what is already there. */
  readonly uri?: string | undefined;
  /** Where it travels encrypted; then it has a URI. */
  readonly encryption?: ImageEncryption | undefined;
}

/** The ciphertext of an image ([FE] sections 4 and 5). */
export interface ImageEncryption {
  /** SUIT_Encryption_Info: COSE_Encrypt with tag 96 and nil ciphertext. */
  readonly info: Uint8Array;
  /** SHA-256 over the ciphertext, tag included, 32 bytes. */
  readonly digest: Uint8Array;
  readonly sizeBytes: number;
}

/** What people read about a release ([M] section 8.4.4). */
export interface ReleaseText {
  /** Language tag such as `en`. */
  readonly language: string;
  readonly manifestDescription?: string | undefined;
  readonly updateDescription?: string | undefined;
  readonly vendorName?: string | undefined;
  readonly modelName?: string | undefined;
  readonly vendorDomain?: string | undefined;
  readonly modelInfo?: string | undefined;
  readonly componentDescription?: string | undefined;
  readonly componentVersion?: string | undefined;
}

/** The facts of a release from which its manifest follows. */
export interface ReleaseFacts {
  readonly shape: ReleaseShape;
  readonly sequenceNumber: bigint | number;
  readonly vendorId: Uint8Array;
  readonly classId: Uint8Array;
  /** Only for a release meant for one unit ([M] section 8.4.9.1). */
  readonly deviceId?: Uint8Array | undefined;
  /** One image; two in slot order where images are linked. */
  readonly images: readonly ReleaseImage[];
  /** Whether the manifest also starts the image ([M] section 7.2). */
  readonly start: boolean;
  /** Version text; written as set-version where it can be represented ([UM] section 3.1). */
  readonly version?: string | undefined;
  readonly text?: ReleaseText | undefined;
  readonly referenceUri?: string | undefined;
  /** Identifier of the component that runs. Default `MAIN_COMPONENT`. */
  readonly component?: ComponentIdentifier | undefined;
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
    ...TEMPLATES[facts.shape](facts, component),
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
}

type Template = (
  facts: ReleaseFacts,
  component: ComponentIdentifier,
) => Pick<ManifestDescription, 'components' | 'shared' | 'sequences'>;

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

/** A branch: condition first, the rest after it, so that a failed branch leaves nothing that matters. */
function inSlot(slot: number, more: Partial<ParameterTypes> | undefined): SequenceDescription {
  const chosen = [override({ 5: slot }), slotMatches];
  return more ? [...chosen, override(more)] : chosen;
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

function identity(facts: ReleaseFacts): Partial<ParameterTypes> {
  const ids = { 1: facts.vendorId, 2: facts.classId };
  return facts.deviceId ? { ...ids, 24: facts.deviceId } : ids;
}

function compatibility(facts: ReleaseFacts): SequenceDescription {
  return facts.deviceId ? [vendorMatches, classMatches, deviceMatches] : [vendorMatches, classMatches];
}

function content(image: Pick<ReleaseImage, 'digest' | 'sizeBytes'>): Partial<ParameterTypes> {
  return { 3: { algorithm: SHA_256, bytes: image.digest }, 14: image.sizeBytes };
}

/** Sections that have commands: an empty sequence is none ([M] Appendix A). */
function sections(
  all: Partial<Record<SectionName, SequenceDescription>>,
): ReadonlyMap<SectionName, SequenceDescription> {
  const entries = Object.entries(all) as [SectionName, SequenceDescription][];
  return new Map(entries.filter(([, sequence]) => sequence.length > 0));
}

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

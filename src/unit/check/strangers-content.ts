import { type ByteSource, equal, slice, sourceOf, toHex } from '../../bytes/index.ts';
import { equalInConstantTime } from '../../crypto/index.ts';
import type { Envelope, Manifest } from '../../suit/index.ts';
import type { Question, Trace } from '../trace.ts';
import { judgeSevered } from './content.ts';
import { decryptsSomething, imagesBySlot, type WantedImage } from './follow.ts';
import { digestOfSource } from './image.ts';

/** An image with its bytes at hand. */
interface FoundImage {
  readonly image: WantedImage;
  readonly source: ByteSource;
  /** Where the source has been hashed already: SHA-256, 32 bytes. */
  readonly digest?: Uint8Array;
}

const SOURCE = 'draft-ietf-suit-manifest 7.5, 8.4.8.6, 8.4.9.2';

/**
 * Steps 8 and 9 with no unit: severed parts match their digests, and so does every image that is at hand. A manifest
 * that asks for the slot is followed once for each slot; their images are alternatives, one of which is enough.
 * Images that are not at hand make the answer incomplete.
 */
export function judgeStrangersContent(
  trace: Trace,
  envelope: Envelope,
  manifest: Manifest,
  supplied: ByteSource | undefined,
): void {
  trace.enter('content');
  judgeSevered(trace, manifest);
  const bySlot = imagesBySlot(manifest);
  const wanted = distinct(bySlot.flat());
  trace.facts.images = wanted.map(({ digest, size }) => ({ digest, size }));
  const carried = wanted.flatMap((image) => carriedBy(envelope, image));
  const lacking = wanted.filter((image) => !carried.some((found) => found.image === image));
  const found = [...carried, ...matchSupplied(trace, lacking, supplied)];
  const has = (image: WantedImage) => found.some((each) => equal(each.image.digest, image.digest));
  noteAtHand(
    trace,
    wanted,
    has,
    bySlot.some((images) => images.every(has)),
  );
  if (wanted.length === 0) noteNone(trace, decryptsSomething(manifest));
  judgeImages(trace, found, wanted.length - found.length);
}

function distinct(images: readonly WantedImage[]): WantedImage[] {
  return [...new Map(images.map((image) => [toHex(image.digest), image])).values()];
}

/** The image where the envelope carries it: integrated, or as the content of a write command. */
function carriedBy({ source, integrated }: Envelope, image: WantedImage): FoundImage[] {
  const { payload } = image;
  if (!payload) return [];
  if (payload.from === 'manifest') return [{ image, source: sourceOf(payload.content) }];
  const part = integrated.get(payload.uri);
  return part ? [{ image, source: slice(source, part.offset, part.length) }] : [];
}

/** The supplied image is one of those that the envelope does not carry, or it is the wrong one. */
function matchSupplied(
  trace: Trace,
  lacking: readonly WantedImage[],
  supplied: ByteSource | undefined,
): FoundImage[] {
  if (!supplied) return [];
  if (lacking.length === 0) {
    trace.facts.warnings.push('the supplied image was not used: no image is missing from the envelope');
    return [];
  }
  const digest = digestOfSource(supplied);
  const image = lacking.find((each) => equalInConstantTime(each.digest, digest));
  return image ? [{ image, source: supplied, digest }] : refuseSupplied(trace, lacking, supplied, digest);
}

function refuseSupplied(
  trace: Trace,
  lacking: readonly WantedImage[],
  { size }: ByteSource,
  digest: Uint8Array,
): never {
  trace.enter('image');
  if (lacking.every((image) => image.size !== undefined && image.size !== size)) {
    trace.refuse('image-length-wrong', {
      what: 'length of the supplied image in bytes',
      expected: () => lacking.map((image) => image.size).join(' or '),
      found: size,
      source: SOURCE,
    });
  }
  return trace.refuse('image-digest-wrong', {
    what: 'SHA-256 of the supplied image',
    expected: () => lacking.map((image) => toHex(image.digest)).join(' or '),
    found: digest,
    source: SOURCE,
  });
}

function noteAtHand(
  trace: Trace,
  wanted: readonly WantedImage[],
  has: (image: WantedImage) => boolean,
  complete: boolean,
): void {
  for (const image of wanted) {
    const question: Question = {
      what: 'image that the manifest names',
      expected: image.digest,
      found: has(image) ? 'at hand' : absence(image),
      source: SOURCE,
    };
    if (has(image)) trace.holds(question);
    else if (complete) trace.note(question);
    else trace.lacks(question);
  }
}

function noteNone(trace: Trace, decrypts: boolean): void {
  if (decrypts) {
    const found = 'encrypted, and the manifest compares none with what should come out';
    trace.lacks({ what: 'images', found, source: 'draft-ietf-suit-firmware-encryption 4.3' });
  } else trace.note({ what: 'images', found: 'the manifest compares none', source: SOURCE });
}

function absence({ payload, encrypted, byDelta }: WantedImage): string {
  if (byDelta) return 'made by a delta from an image that units run, and not supplied whole';
  if (encrypted)
    return 'encrypted; only who holds a key of a recipient can compare it, and it was not supplied';
  if (payload?.from !== 'uri') return 'not in the envelope, and not supplied';
  return `at ${payload.uri}, not in the envelope, and not supplied`;
}

function judgeImages(trace: Trace, found: readonly FoundImage[], missing: number): void {
  trace.enter('image');
  for (const { image, source, digest = digestOfSource(source) } of found) {
    if (image.size !== undefined) {
      trace.require(source.size === image.size, 'image-length-wrong', {
        what: 'length of the image in bytes',
        expected: image.size,
        found: source.size,
        source: SOURCE,
      });
    }
    trace.require(equalInConstantTime(digest, image.digest), 'image-digest-wrong', {
      what: 'SHA-256 of the image, compared in constant time',
      expected: image.digest,
      found: digest,
      source: SOURCE,
    });
  }
  if (found.length > 0 || missing === 0) return;
  trace.lacks({ what: 'SHA-256 of the image', found: 'no image is at hand', source: SOURCE });
}

/** The images of a payload: which ones its manifest names, and stand-ins for those that are encrypted or superseded. */
import { concat } from '../../bytes/index.ts';
import type { CborMap, CborValue } from '../../cbor/index.ts';
import {
  type ContentAlgorithm,
  type Recipient,
  SUIT_PAYLOAD_ENCRYPTION,
  startEncrypt,
} from '../../cose/index.ts';
import { randomBytes, sha256 } from '../../crypto/index.ts';
import { Draft, decodeValue, ELEMENT, type Pairs } from './draft.ts';
import type { Integrated, Parts } from './parts.ts';

/** The parameter by which a copy applies a delta (docs/deployment-profile.md section 14). */
const DELTA_INFO = -257;

/** One image as the shared sequence names it, in the order of the slots where there are two. */
export interface NamedImage {
  readonly digest: Uint8Array;
  readonly size: number;
  readonly uri: string;
  /** SUIT_Encryption_Info, where it travels encrypted. */
  readonly info: Uint8Array | undefined;
}

/** A payload that is not sealed yet: a manifest with its images. */
export interface Unsealed {
  readonly parts: Parts;
  /** The detached image for the free slot, as units fetch it. */
  readonly image: Uint8Array | undefined;
}

/** How stand-in images are encrypted. */
export interface ImageCipher {
  readonly algorithm: ContentAlgorithm;
  readonly recipients: readonly Recipient[];
}

/** The manifest is sound, and still not of a kind that can be rebuilt with other images. */
export class FormUnknown extends Error {}

/** The images that a manifest names. Throws `FormUnknown` where they do not follow one of the templates. */
export function namedImages(parts: Parts): NamedImage[] {
  const draft = new Draft(parts);
  const digests = valuesOf(3, [draft.shared]).map(digestBytes);
  const sizes = valuesOf(14, [draft.shared]);
  const sections = [draft.section(ELEMENT.fetch), draft.section(ELEMENT.install)];
  const uris = valuesOf(21, sections);
  const infos = valuesOf(19, sections);
  const count = uris.length;
  if (count === 0 || digests.length !== count || sizes.length !== count || infos.length % count !== 0) {
    throw new FormUnknown(
      `its sequences name ${digests.length} digest(s), ${sizes.length} size(s) and ${count} URI(s)`,
    );
  }
  return uris.map((uri, i) => ({
    uri: uri as string,
    digest: digests[i]!,
    size: Number(sizes[i]),
    info: infos[i] as Uint8Array | undefined,
  }));
}

function digestBytes(parameter: CborValue): Uint8Array {
  return (decodeValue(parameter as Uint8Array) as readonly CborValue[])[1] as Uint8Array;
}

/** What a parameter is set to in these sequences, branches included, in order. */
function valuesOf(code: number, sequences: readonly Pairs[]): CborValue[] {
  return sequences.flatMap((pairs) => settings(pairs, code));
}

/** Whether a branch makes the image by a delta: what is rehearsed is the other one, which everybody takes. */
function appliesDelta(pairs: Pairs): boolean {
  return settings(pairs, DELTA_INFO).length > 0;
}

/** Whether every image lies in the envelope. */
export function carriesImages(parts: Parts): boolean {
  return namedImages(parts).every(({ uri }) => parts.integrated.some(({ key }) => key === uri));
}

function settings(pairs: Pairs, code: number): CborValue[] {
  const found: CborValue[] = [];
  for (let i = 0; i < pairs.length; i += 2) {
    const [command, argument] = [pairs[i] as number, pairs[i + 1]!];
    if (command === 20) {
      const entries = (argument as CborMap).entries.filter(([key]) => key === code);
      found.push(...entries.map(([, value]) => value));
    } else if (command === 15 && Array.isArray(argument)) {
      for (const branch of argument) {
        if (!(branch instanceof Uint8Array)) continue;
        const inner = decodeValue(branch) as Pairs;
        if (code === DELTA_INFO || !appliesDelta(inner)) found.push(...settings(inner, code));
      }
    }
  }
  return found;
}

/** The same payload with other images of the same lengths, encrypted again where the real ones are. */
export async function withOtherImages(
  { parts, image }: Unsealed,
  cipher: ImageCipher | undefined,
  freeSlot: number,
): Promise<Unsealed> {
  const draft = new Draft(parts);
  const images = namedImages(parts);
  let detached = image;
  for (const [i, named] of images.entries()) {
    const plain = randomBytes(named.size);
    const delivered =
      named.info && cipher ? await encrypted(plain, cipher) : { bytes: plain, info: undefined };
    const place = parts.integrated.findIndex(({ key }) => key === named.uri);
    const isDetached = place < 0 && (images.length === 1 || i === freeSlot);
    const before = isDetached ? image : parts.integrated[place]?.bytes;
    draft.substitute(named.digest, sha256(plain));
    if (before) draft.substitute(sha256(before), sha256(delivered.bytes));
    if (named.info && delivered.info) draft.substitute(named.info, delivered.info);
    if (isDetached) detached = delivered.bytes;
    else if (place >= 0) draft.integrated = replaced(draft.integrated, place, delivered.bytes);
  }
  return { parts: partsOf(draft, parts), image: detached };
}

async function encrypted(
  plain: Uint8Array,
  { algorithm, recipients }: ImageCipher,
): Promise<{ readonly bytes: Uint8Array; readonly info: Uint8Array }> {
  const running = await startEncrypt({ algorithm, recipients, other: SUIT_PAYLOAD_ENCRYPTION });
  return { bytes: concat(running.update(plain), running.final()), info: running.info };
}

function replaced(all: readonly Integrated[], place: number, bytes: Uint8Array): Integrated[] {
  return all.map((each, i) => (i === place ? { ...each, bytes } : each));
}

/** What a draft says now, in place of what it was made from. */
export function partsOf(draft: Draft, before: Parts): Parts {
  return {
    ...before,
    manifest: draft.write(),
    severed: draft.severed,
    integrated: draft.integrated,
  };
}

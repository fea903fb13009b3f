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
const SELECT = 12;
const TRY_EACH = 15;
const SET = 20;

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
  const own = draft.components.length;
  const digests = valuesOf(3, [draft.shared], own).map(digestBytes);
  const sizes = valuesOf(14, [draft.shared], own);
  const sections = [draft.section(ELEMENT.fetch), draft.section(ELEMENT.install)];
  const uris = valuesOf(21, sections, own);
  const infos = valuesOf(19, sections, own);
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

/** The integrated payloads with every image changed, or taken out; envelopes among them stay. */
export function withImages(
  parts: Parts,
  change: (bytes: Uint8Array) => Uint8Array | undefined,
): Integrated[] {
  const uris = namedImages(parts).map(({ uri }) => uri);
  return parts.integrated.flatMap((each) => {
    if (!uris.includes(each.key)) return each;
    const bytes = change(each.bytes);
    return bytes ? { ...each, bytes } : [];
  });
}

/** What a parameter of the first `own` components is set to in these sequences, branches included, in order. */
function valuesOf(code: number, sequences: readonly Pairs[], own: number): CborValue[] {
  return sequences.flatMap((pairs) => settings(pairs, code, own));
}

/** Whether a branch makes the image by a delta: what is rehearsed is the other one, which everybody takes. */
function appliesDelta(pairs: Pairs): boolean {
  return settings(pairs, DELTA_INFO).length > 0;
}

/** Whether every image lies in the envelope. */
export function carriesImages(parts: Parts): boolean {
  return namedImages(parts).every(({ uri }) => parts.integrated.some(({ key }) => key === uri));
}

function settings(pairs: Pairs, code: number, own = Number.POSITIVE_INFINITY): CborValue[] {
  const found: CborValue[] = [];
  let index = 0;
  for (let i = 0; i < pairs.length; i += 2) {
    const [command, argument] = [pairs[i] as number, pairs[i + 1]!];
    if (command === SELECT) index = typeof argument === 'number' ? argument : 0;
    if (index >= own) continue;
    if (command === SET) found.push(...valuesIn(argument as CborMap, code));
    if (command === TRY_EACH) found.push(...settingsInBranches(argument, code, own));
  }
  return found;
}

function valuesIn({ entries }: CborMap, code: number): CborValue[] {
  return entries.filter(([key]) => key === code).map(([, value]) => value);
}

function settingsInBranches(argument: CborValue, code: number, own: number): CborValue[] {
  if (!Array.isArray(argument)) return [];
  return argument.flatMap((branch) => {
    if (!(branch instanceof Uint8Array)) return [];
    const inner = decodeValue(branch) as Pairs;
    return code === DELTA_INFO || !appliesDelta(inner) ? settings(inner, code, own) : [];
  });
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

/** Steps 8 and 9: what comes with the manifest: severed parts, the way to install, and the image. */
import { concat } from '../../../bytes/index.ts';
import { CborMap, type CborValue, encode } from '../../../cbor/index.ts';
import { randomBytes } from '../../../crypto/index.ts';
import { type Draft, ELEMENT, type Pairs } from '../draft.ts';
import { type Attack, dismantled, type Forgery, onUnit, resealed } from '../forgery.ts';
import { withImages } from '../images.ts';
import { oneBit, type Parts } from '../parts.ts';

const DIGEST = 3;
const ABORT = 14;
const SIZE = 14;
const SET_INDEX = 12;
const REPORT = 15;
const SET = 20;
const URI = 21;
const FETCH = 21;
const COPY = 22;
const INVOKE = 23;
const SHA_256 = -16;
const PLAIN = ['plain image', 'integrated'] as const;
const BESIDE = ['plain image', 'detached'] as const;

const set = (code: number, value: CborValue): Pairs => [SET, new CborMap([[code, value]])];

/** The section that brings the image. */
function bringing(draft: Draft): number {
  return draft.elements.has(ELEMENT.fetch) ? ELEMENT.fetch : ELEMENT.install;
}

/** More commands before or behind those that bring the image. */
const installing = (change: (pairs: Pairs) => Pairs): Attack =>
  resealed((draft) => draft.setSection(bringing(draft), change(draft.section(bringing(draft)))));

/** Parameters set before all else, behind the component index that several components begin with. */
const setFirst = (pairs: Pairs, own: Pairs): Pairs => {
  const begin = pairs[0] === SET_INDEX ? 2 : 0;
  return [...pairs.slice(0, begin), ...own, ...pairs.slice(begin)];
};

/** Each integrated image exchanged. */
const integratedAs = (change: (bytes: Uint8Array) => Uint8Array): Attack =>
  dismantled((parts) => ({ integrated: withImages(parts, change) }));

/** The detached image exchanged. */
const detachedAs = (change: (bytes: Uint8Array) => Uint8Array): Attack =>
  onUnit(({ offer }) => ({ ...offer, image: change(offer.image!) }));

const severedText = (change: (severed: Map<number, Uint8Array>) => void): Attack =>
  dismantled(({ severed }: Parts) => {
    const changed = new Map(severed);
    change(changed);
    return { severed: changed };
  });

/** The section that brings the image severed, its bytes exchanged on the way or lost. */
const severedInstall = (change: (draft: Draft, key: number) => void): Attack =>
  resealed((draft) => {
    const key = bringing(draft);
    draft.sever(key, encode([...draft.section(key)]));
    change(draft, key);
  });

/** What is said of the image while it is fetched into the staging area, and nowhere else. */
function stagedAs(draft: Draft, code: number, value: CborValue): void {
  const pairs = draft.section(ELEMENT.fetch).map((each) => {
    if (!(each instanceof CborMap)) return each;
    return new CborMap(each.entries.map(([key, own]) => [key, key === code ? value : own] as const));
  });
  draft.setSection(ELEMENT.fetch, pairs);
}

const middle = (bytes: Uint8Array): number => Math.floor(bytes.length / 2);

export const CONTENT_ROWS: readonly Forgery[] = [
  {
    name: 'A word of the text changed',
    threat: 'NET.ONPATH',
    built: 'one bit of the severed text is changed, which people read before they approve',
    where: ['severed text'],
    refusal: 'severed-part-wrong',
    attack: severedText((severed) => severed.set(23, oneBit(severed.get(23)!, -1))),
  },
  {
    name: 'Another way to install',
    threat: 'NET.REDIRECT',
    built: 'the section that fetches is severed, and one that fetches from elsewhere comes in its place',
    where: ['plain image'],
    refusal: 'severed-part-wrong',
    attack: severedInstall((draft, key) => {
      draft.severed.set(key, encode([...set(URI, 'https://elsewhere.example/image'), FETCH, 2]));
    }),
  },
  {
    name: 'A way to install that never arrives',
    threat: 'NET.ONPATH',
    built: 'the section that fetches is severed and not delivered',
    where: ['plain image'],
    refusal: 'severed-part-missing',
    attack: severedInstall((draft, key) => {
      draft.severed.delete(key);
    }),
  },
  {
    name: 'A start and nothing to install',
    threat: 'IMG.FORMAT',
    built: 'every section that installs is left out',
    where: ['no dependencies'],
    refusal: 'install-missing',
    attack: resealed((draft) => {
      for (const key of [ELEMENT.fetch, ELEMENT.install]) {
        draft.elements.delete(key);
        draft.severed.delete(key);
      }
    }),
  },
  {
    name: 'An install that waits for tomorrow',
    threat: 'IMG.EXPIRED.OFFLINE',
    built: 'the section that brings the image first waits for a time that has not come',
    refusal: 'wait-not-over',
    attack: resealed((draft, { subject }) => {
      const tomorrow = Math.floor(subject.now.getTime() / 1000) + 86_400;
      const info = encode(new CborMap([[5, tomorrow]]));
      const key = bringing(draft);
      draft.setSection(key, [...draft.section(key), ...set(29, info), 29, 2]);
    }),
  },
  {
    name: 'An install that gives up',
    threat: 'IMG.REPLACE',
    built: 'the section that brings the image ends in a command to abort',
    refusal: 'install-failed',
    attack: installing((pairs) => [...pairs, ABORT, REPORT]),
  },
  {
    name: 'An install that starts the image',
    threat: 'IMG.REPLACE',
    built: 'the image is invoked while it is being installed, before anything is marked',
    refusal: 'install-failed',
    attack: installing((pairs) => [...pairs, INVOKE, 2]),
  },
  {
    name: 'Two images for one place',
    threat: 'IMG.EXTRA',
    built: 'the image is fetched twice into the same place',
    refusal: 'install-failed',
    attack: installing((pairs) => [...pairs, ...pairs]),
  },
  {
    name: 'One image installed, another compared',
    threat: 'MFST.OVERRIDE',
    built: 'the section that installs names another digest than the one every start compares',
    where: ['plain image', 'two slots', 'no dependencies'],
    refusal: 'install-failed',
    attack: installing((pairs) => setFirst(pairs, set(DIGEST, encode([SHA_256, randomBytes(32)])))),
  },
  {
    name: 'One size installed, another compared',
    threat: 'IMG.EXTRA',
    built: 'the section that installs names a larger size than the one every start compares',
    where: ['plain image', 'two slots', 'no dependencies'],
    refusal: 'install-failed',
    attack: installing((pairs) => setFirst(pairs, set(SIZE, 1_000_000))),
  },
  {
    name: 'A difference for an image that units do not have',
    threat: 'UPD.WRONG_PRECURSOR',
    built:
      'the section that installs compares an image before it brings one, as a difference does with its base',
    where: ['no dependencies'],
    refusal: 'install-failed',
    attack: resealed((draft) => {
      const key = bringing(draft);
      const main = draft.components.length > 1 ? [12, 0] : [];
      draft.setSection(key, [...main, DIGEST, REPORT, ...draft.section(key)]);
    }),
  },
  {
    name: 'Straight into the running slot',
    threat: 'IMG.LOCATION',
    built: 'the image is fetched into the component that runs, past the staging area',
    where: ['staged', 'plain image'],
    refusal: 'install-failed',
    attack: resealed((draft) => {
      const uri = [...set(URI, '#image')];
      draft.elements.delete(ELEMENT.fetch);
      draft.setSection(ELEMENT.install, [12, 0, ...uri, FETCH, 2, DIGEST, REPORT]);
    }),
  },
  {
    name: 'One image staged, another compared',
    threat: 'MFST.OVERRIDE',
    built: 'the digest of what is fetched into the staging area is another one than every start compares',
    where: ['staged', 'plain image'],
    refusal: 'install-failed',
    attack: resealed((draft) => stagedAs(draft, DIGEST, encode([SHA_256, randomBytes(32)]))),
  },
  {
    name: 'One size staged, another compared',
    threat: 'IMG.EXTRA',
    built: 'the size of what is fetched into the staging area is another one than every start compares',
    where: ['staged', 'plain image'],
    refusal: 'install-failed',
    attack: resealed((draft) => stagedAs(draft, SIZE, 1)),
  },
  {
    name: 'A staged image that is never moved',
    threat: 'IMG.REPLACE',
    built: 'the image is fetched into the staging area, and no command copies it',
    where: ['staged'],
    refusal: 'install-failed',
    attack: resealed((draft) => {
      draft.elements.delete(ELEMENT.install);
    }),
  },
  {
    name: 'A copy of a place onto itself',
    threat: 'IMG.LOCATION',
    built: 'the copy names the running component as its own source',
    where: ['staged', 'plain image'],
    refusal: 'install-failed',
    attack: resealed((draft) => {
      draft.parameter(COPY, () => 0);
    }),
  },
  {
    name: 'An image from nowhere',
    threat: 'NET.REDIRECT',
    built: 'the URI is left out, so that whoever answers could say where the image is',
    refusal: 'image-source-missing',
    attack: resealed((draft) => draft.parameters((parameters) => parameters.delete(URI))),
  },
  {
    name: 'The image taken out',
    threat: 'NET.ONPATH',
    built: 'the integrated image is left out of the envelope',
    where: ['integrated'],
    refusal: 'payload-missing',
    attack: dismantled((parts) => ({ integrated: withImages(parts, () => undefined) })),
  },
  {
    name: 'One byte behind the image',
    threat: 'IMG.EXTRA',
    built: 'the image inside the envelope gets a further byte',
    where: PLAIN,
    refusal: 'image-length-wrong',
    attack: integratedAs((bytes) => concat(bytes, new Uint8Array(1))),
  },
  {
    name: 'The image one byte short',
    threat: 'NET.ONPATH',
    built: 'the last byte of the image inside the envelope is left out',
    where: PLAIN,
    refusal: 'image-length-wrong',
    attack: integratedAs((bytes) => bytes.slice(0, -1)),
  },
  {
    name: 'The first bit of the image',
    threat: 'NET.ONPATH',
    built: 'the first bit of the image inside the envelope is changed',
    where: PLAIN,
    refusal: 'image-digest-wrong',
    attack: integratedAs((bytes) => oneBit(bytes, 0)),
  },
  {
    name: 'One bit in the middle of the image',
    threat: 'NET.ONPATH',
    built: 'one bit half way through the image inside the envelope is changed',
    where: PLAIN,
    refusal: 'image-digest-wrong',
    attack: integratedAs((bytes) => oneBit(bytes, middle(bytes))),
  },
  {
    name: 'The last bit of the image',
    threat: 'NET.ONPATH',
    built: 'the last bit of the image inside the envelope is changed',
    where: PLAIN,
    refusal: 'image-digest-wrong',
    attack: integratedAs((bytes) => oneBit(bytes, -1)),
  },
  {
    name: 'An older image under this seal',
    threat: 'IMG.EXPIRED',
    built: 'an image of the same length, as of another release, takes the place of this one',
    where: PLAIN,
    refusal: 'image-digest-wrong',
    attack: integratedAs((bytes) => randomBytes(bytes.length)),
  },
  {
    name: 'One byte behind the detached image',
    threat: 'IMG.EXTRA',
    built: 'the file of the image gets a further byte',
    where: BESIDE,
    refusal: 'image-length-wrong',
    attack: detachedAs((bytes) => concat(bytes, new Uint8Array(1))),
  },
  {
    name: 'The detached image cut short',
    threat: 'NET.ONPATH',
    built: 'the file of the image ends half way',
    where: BESIDE,
    refusal: 'image-length-wrong',
    attack: detachedAs((bytes) => bytes.slice(0, middle(bytes))),
  },
  {
    name: 'An empty detached image',
    threat: 'NET.ONPATH',
    built: 'the file of the image has no bytes',
    where: BESIDE,
    refusal: 'image-length-wrong',
    attack: detachedAs(() => new Uint8Array()),
  },
  {
    name: 'Another image from the same place',
    threat: 'NET.REDIRECT',
    built: 'whoever was asked for the image gives another one of the same length',
    where: BESIDE,
    refusal: 'image-digest-wrong',
    attack: detachedAs((bytes) => randomBytes(bytes.length)),
  },
  {
    name: 'One bit of the detached image',
    threat: 'NET.ONPATH',
    built: 'one bit half way through the file of the image is changed',
    where: BESIDE,
    refusal: 'image-digest-wrong',
    attack: detachedAs((bytes) => oneBit(bytes, middle(bytes))),
  },
];

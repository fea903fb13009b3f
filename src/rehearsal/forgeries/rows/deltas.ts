/** Steps 7 to 9 for an image that comes as a delta: what it is applied to, what arrives, and what it makes. */
import { CborMap, type CborValue } from '../../../cbor/index.ts';
import {
  contentAlgorithm,
  heldWrappingKey,
  SUIT_PAYLOAD_ENCRYPTION,
  startEncrypt,
} from '../../../cose/index.ts';
import { randomBytes } from '../../../crypto/index.ts';
import { applying, type DeltaChanges, deltaBetween, deltaOffer, imagesOf, straight } from '../deltas.ts';
import { type Draft, ELEMENT, type Pairs } from '../draft.ts';
import type { Attack, Forgery } from '../forgery.ts';
import { oneBit } from '../parts.ts';

const IMAGE_MATCH = 3;
const SELECT = 12;
const SIZE = 14;
const INFO = 19;
const SET = 20;
const URI = 21;
const FETCH = 21;
const COPY = 22;
const SOURCE = 22;
const DELTA_INFO = -257;
const WHERE = ['deltas', 'plain image'] as const;

/** The payload as a delta that is wrong in one thing. */
const asDelta = (changes: DeltaChanges): Attack => ({
  against: 'stand-in',
  carryOut: async (lab) => lab.askStandIn(await deltaOffer(lab, changes)),
});

/** Its commands changed, where no other way stands beside the delta. */
const ordered = (change: (pairs: Pairs, draft: Draft) => Pairs | Promise<Pairs>): Attack =>
  asDelta({
    draft: async (draft) => draft.setSection(applying(draft), await change(straight(draft), draft)),
  });

/** An encryption info, for whomever. */
async function strangersInfo(): Promise<Uint8Array> {
  const algorithm = contentAlgorithm('A128CTR')!;
  const recipients = [heldWrappingKey(randomBytes(16), randomBytes(8))];
  return (await startEncrypt({ algorithm, recipients, other: SUIT_PAYLOAD_ENCRYPTION })).info;
}

/** Every override of parameters that sets `with`, changed. */
const settingWith = (
  pairs: Pairs,
  code: number,
  change: (parameters: Map<CborValue, CborValue>) => void,
): Pairs =>
  pairs.map((each, i) => {
    if (i % 2 === 0 || pairs[i - 1] !== SET || !(each instanceof CborMap)) return each;
    const parameters = new Map(each.entries);
    if (parameters.has(code)) change(parameters);
    return new CborMap(parameters);
  });

/** The pairs without the n-th comparison. */
function withoutMatch(pairs: Pairs, nth: number): Pairs {
  const at = pairs.flatMap((code, i) => (i % 2 === 0 && code === IMAGE_MATCH ? i : []))[nth]!;
  return [...pairs.slice(0, at), ...pairs.slice(at + 2)];
}

/** Index of the component that names what runs: the one before what is being fetched. */
function precursorIn(draft: Draft): number {
  return draft.components.length - 2;
}

export const DELTA_ROWS: readonly Forgery[] = [
  {
    name: 'A delta for another image than the one that runs',
    threat: 'UPD.WRONG_PRECURSOR',
    built:
      'the release comes as a delta from an image that the unit does not run, and the whole image is not at hand',
    where: WHERE,
    refusal: 'precursor-wrong',
    attack: asDelta({ says: ({ precursor }) => ({ precursor: { ...precursor, digest: randomBytes(32) } }) }),
  },
  {
    name: 'A delta with windows beyond the memory for them',
    threat: 'IMG.LOCATION',
    built: 'the delta announces a window one byte larger than what the unit sets aside',
    where: WHERE,
    refusal: 'delta-window-too-large',
    attack: asDelta({ says: (_, { field }) => ({ windowBytes: field.record.memory.delta_window! + 1 }) }),
  },
  {
    name: 'One bit of the delta',
    threat: 'NET.ONPATH',
    built: 'one bit half way through the delta is changed on the way',
    where: WHERE,
    refusal: 'delta-altered',
    attack: asDelta({ onTheWay: (delta) => oneBit(delta, Math.floor(delta.length / 2)) }),
  },
  {
    name: 'The delta cut short',
    threat: 'NET.ONPATH',
    built: 'the last byte of the delta is left out',
    where: WHERE,
    refusal: 'delta-altered',
    attack: asDelta({ onTheWay: (delta) => delta.slice(0, -1) }),
  },
  {
    name: 'A sealed delta that is none',
    threat: 'IMG.FORMAT',
    built: 'a hundred bytes of chance are sealed as a delta',
    where: WHERE,
    refusal: 'delta-malformed',
    attack: asDelta({ delta: () => randomBytes(100).fill(0x2a, 0, 4) }),
  },
  {
    name: 'A delta that makes another image',
    threat: 'UPD.WRONG_PRECURSOR',
    built:
      'a sound delta, sealed, that makes another image of the same size than the one that every start compares',
    where: WHERE,
    refusal: 'image-digest-wrong',
    attack: asDelta({
      delta: (_, lab) => {
        const { runs, wanted } = imagesOf(lab);
        return deltaBetween(runs, randomBytes(wanted.length), lab.field.record.memory.delta_window!);
      },
    }),
  },
  {
    name: 'A delta applied to what nothing compared',
    threat: 'UPD.WRONG_PRECURSOR',
    built: 'the comparison of what runs is left out before the delta is applied to it',
    where: WHERE,
    refusal: 'install-failed',
    attack: ordered((pairs) => withoutMatch(pairs, 0)),
  },
  {
    name: 'A precursor of no stated size',
    threat: 'UPD.WRONG_PRECURSOR',
    built: 'what runs is compared without saying how much of its slot is meant',
    where: WHERE,
    refusal: 'install-failed',
    attack: ordered((pairs) => {
      const first = pairs.findIndex(
        (each) => each instanceof CborMap && each.entries.some(([code]) => code === SIZE),
      );
      const at = isStagedImage(pairs)
        ? pairs.findIndex((each, i) => i > first && each instanceof CborMap)
        : first;
      return pairs.map((each, i) =>
        i === at ? new CborMap((each as CborMap).entries.filter(([code]) => code !== SIZE)) : each,
      );
    }),
  },
  {
    name: 'A delta without a digest of its own',
    threat: 'NET.ONPATH',
    built: 'nothing says what the delta itself should be before it is applied',
    where: WHERE,
    refusal: 'install-failed',
    attack: ordered((pairs) => withoutMatch(pairs, 1)),
  },
  {
    name: 'A delta applied twice',
    threat: 'IMG.EXTRA',
    built: 'the copy that applies the delta stands in the section twice',
    where: WHERE,
    refusal: 'install-failed',
    attack: ordered((pairs) => {
      const at = pairs.findIndex((code, i) => i % 2 === 0 && code === COPY);
      return [...pairs.slice(0, at), COPY, pairs[at + 1]!, ...pairs.slice(at)];
    }),
  },
  {
    name: 'A delta taken for an image',
    threat: 'IMG.FORMAT',
    built: 'the copy does not say that what it copies is a delta',
    where: ['deltas', 'plain image', 'two slots'],
    refusal: 'install-failed',
    attack: ordered((pairs) => settingWith(pairs, DELTA_INFO, (parameters) => parameters.delete(DELTA_INFO))),
  },
  {
    name: 'A delta taken for a ciphertext',
    threat: 'IMG.FORMAT',
    built: 'the copy is to decrypt and to apply a delta in one',
    where: WHERE,
    refusal: 'install-failed',
    attack: ordered(async (pairs) => {
      const info = await strangersInfo();
      return settingWith(pairs, DELTA_INFO, (parameters) => parameters.set(INFO, info));
    }),
  },
  {
    name: 'A delta copied over what runs',
    threat: 'IMG.LOCATION',
    built:
      'the delta itself is copied, as if it were encrypted, into the running slot and past the staging area',
    where: ['deltas', 'plain image', 'staged'],
    refusal: 'install-failed',
    attack: asDelta({
      draft: async (draft) => {
        draft.setSection(applying(draft), straight(draft));
        const from = new CborMap([
          [SOURCE, draft.components.length - 1],
          [INFO, await strangersInfo()],
        ]);
        draft.setSection(ELEMENT.install, [...draft.section(ELEMENT.install), SET, from, COPY, 2]);
      },
    }),
  },
  {
    name: 'A delta that a start is to decrypt',
    threat: 'IMG.FORMAT',
    built: 'what a delta made in the staging area is to be decrypted when it is moved',
    where: ['deltas', 'plain image', 'staged'],
    refusal: 'install-failed',
    attack: asDelta({
      draft: async (draft) => {
        draft.setSection(applying(draft), straight(draft));
        const info = await strangersInfo();
        const pairs = settingWith(draft.section(ELEMENT.install), SOURCE, (parameters) =>
          parameters.set(INFO, info),
        );
        draft.setSection(ELEMENT.install, pairs);
      },
    }),
  },
  {
    name: 'A fetch over what runs',
    threat: 'IMG.LOCATION',
    built: 'the place of what runs, which is there to be read, is fetched into',
    where: WHERE,
    refusal: 'install-failed',
    attack: ordered((pairs, draft) => [
      ...pairs,
      SELECT,
      precursorIn(draft),
      SET,
      new CborMap([[URI, 'https://elsewhere.example/image']]),
      FETCH,
      2,
    ]),
  },
];

/** Where a staging area is filled, its own image is described before the precursor. */
function isStagedImage(pairs: Pairs): boolean {
  return pairs[0] === SELECT && pairs[1] === 1;
}

/** Step 7: images that do not fit where they go, and manifests that lead to no start. */
import { fromUtf8 } from '../../../bytes/index.ts';
import { CborMap, type CborValue, encode } from '../../../cbor/index.ts';
import { randomBytes, sha256 } from '../../../crypto/index.ts';
import { ELEMENT } from '../draft.ts';
import { type Attack, type Forgery, resealed } from '../forgery.ts';

const SHA_256 = -16;
const IMAGE_MATCH = 3;
const DIGEST = 3;
const SIZE = 14;
const SET = 20;
const REPORT = 15;
const INVOKE = 23;

const sized = (size: (slot: number) => number): Attack =>
  resealed((draft, { record }) => {
    const largest = Math.max(...record.memory.slots.map((slot) => slot.size));
    draft.parameter(SIZE, () => size(largest));
  });

const firstComponent = (change: (identifier: readonly Uint8Array[]) => readonly Uint8Array[]): Attack =>
  resealed((draft) => {
    const [first, ...others] = draft.components;
    draft.components = [[...change(first as readonly Uint8Array[])], ...others];
  });

export const FIT_ROWS: readonly Forgery[] = [
  {
    name: 'For a place that units do not have',
    threat: 'IMG.LOCATION',
    built: 'the image goes to a component called radio',
    where: ['all rights', 'no dependencies'],
    refusal: 'component-unknown',
    attack: firstComponent(() => [fromUtf8('radio')]),
  },
  {
    name: 'For a place whose name begins alike',
    threat: 'IMG.LOCATION',
    built: 'the identifier of the component gets a further segment',
    refusal: 'component-unknown',
    attack: firstComponent((identifier) => [...identifier, fromUtf8('0')]),
  },
  {
    name: 'More places than units have',
    threat: 'IMG.LOCATION',
    built: 'two further components are listed',
    where: ['no dependencies'],
    refusal: 'component-count-wrong',
    attack: resealed((draft) => {
      if (draft.components.length === 1) {
        draft.shared = [12, 0, ...draft.shared];
        for (const key of [ELEMENT.validate, ELEMENT.invoke, ELEMENT.install])
          if (draft.elements.has(key)) draft.setSection(key, [12, 0, ...draft.section(key)]);
      }
      draft.components = [...draft.components, [fromUtf8('radio')], [fromUtf8('screen')]];
    }),
  },
  {
    name: 'An image that no start compares',
    threat: 'IMG.REPLACE',
    built: 'the validate section is left out',
    refusal: 'image-not-named',
    attack: resealed((draft) => {
      draft.elements.delete(ELEMENT.validate);
    }),
  },
  {
    name: 'A comparison that gives up',
    threat: 'IMG.REPLACE',
    built: 'the validate section ends in a command to abort',
    refusal: 'image-not-named',
    attack: resealed((draft) =>
      draft.setSection(ELEMENT.validate, [...draft.section(ELEMENT.validate), 14, REPORT]),
    ),
  },
  {
    name: 'Two images for one start',
    threat: 'MFST.OVERRIDE',
    built: 'the validate section compares a second digest with the same place',
    refusal: 'image-not-named',
    attack: resealed((draft) => {
      const other = encode([SHA_256, randomBytes(32)]);
      const pairs = [...draft.section(ELEMENT.validate), SET, overriding(DIGEST, other), IMAGE_MATCH, REPORT];
      draft.setSection(ELEMENT.validate, pairs);
    }),
  },
  {
    name: 'An image of no stated size',
    threat: 'IMG.EXTRA',
    built: 'the size of the image is left out',
    refusal: 'image-size-missing',
    attack: resealed((draft) => draft.parameters((parameters) => parameters.delete(SIZE))),
  },
  {
    name: 'An image of nothing',
    threat: 'IMG.NON_AUTH',
    built: 'the size of the image is 0, and its digest that of no bytes',
    refusal: 'image-empty',
    attack: resealed((draft) => {
      draft.parameter(SIZE, () => 0);
      draft.parameter(DIGEST, () => encode([SHA_256, sha256()]));
    }),
  },
  {
    name: 'One byte larger than the slot',
    threat: 'IMG.LOCATION',
    built: 'the image is said to be one byte larger than the slot',
    refusal: 'image-too-large',
    attack: sized((slot) => slot + 1),
  },
  {
    name: 'Two gibibytes for a small slot',
    threat: 'IMG.LOCATION',
    built: 'the image is said to have 2^31 bytes',
    refusal: 'image-too-large',
    attack: sized(() => 2 ** 31),
  },
  {
    name: 'An image that is never started',
    threat: 'IMG.REPLACE',
    built: 'the invoke section is left out, so that the unit would stand still after its next start',
    refusal: 'start-not-described',
    attack: resealed((draft) => {
      draft.elements.delete(ELEMENT.invoke);
    }),
  },
  {
    name: 'A start that does something else first',
    threat: 'IMG.REPLACE',
    built: 'the invoke section fetches an image before it starts one',
    refusal: 'start-not-described',
    attack: resealed((draft) => {
      const [code, ...rest] = draft.section(ELEMENT.invoke);
      const lead = code === INVOKE ? [] : [code!, rest[0]!];
      const pairs = [code!, ...rest].slice(lead.length);
      draft.setSection(ELEMENT.invoke, [
        ...lead,
        SET,
        overriding(21, 'https://elsewhere.example/image'),
        21,
        2,
        ...pairs,
      ]);
    }),
  },
  {
    name: 'An envelope that cannot be kept',
    threat: 'IMG.LOCATION',
    built: 'the reference URI is longer than the area that keeps the envelope for the next start',
    refusal: 'envelope-area-too-small',
    attack: resealed((draft, { record }) => {
      draft.elements.set(4, `https://maker.example/${'x'.repeat(record.memory.envelopes.size)}`);
    }),
  },
];

function overriding(code: number, value: CborValue): CborMap {
  return new CborMap([[code, value]]);
}

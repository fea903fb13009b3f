/** Step 6: manifests for other units, or for units in another state. */
import { CborMap, type CborValue, encode } from '../../../cbor/index.ts';
import { classId, uuidV5, vendorId } from '../../../suit/index.ts';
import type { Draft } from '../draft.ts';
import { type Attack, type Forgery, resealed } from '../forgery.ts';
import type { Lab } from '../lab.ts';

const VENDOR = 1;
const CLASS = 2;
const USE_BEFORE = 4;
const SLOT = 5;
const ABORT = 14;
const TRY_EACH = 15;
const SET = 20;
const DEVICE = 24;
const BATTERY = 26;
const REPORT = 15;

/** The shared sequence without one condition. */
const withoutCondition = (condition: number): Attack =>
  resealed((draft) => {
    draft.shared = pairsWithout(draft.shared, condition);
  });

function pairsWithout(pairs: readonly CborValue[], code: number): CborValue[] {
  const kept: CborValue[] = [];
  for (let i = 0; i < pairs.length; i += 2) if (pairs[i] !== code) kept.push(pairs[i]!, pairs[i + 1]!);
  return kept;
}

/** Further commands at the end of the shared sequence. */
function asksAlso(draft: Draft, ...pairs: CborValue[]): void {
  draft.shared = [...draft.shared, ...pairs];
}

const set = (code: number, value: CborValue): CborValue[] => [SET, new CborMap([[code, value]])];

/** One parameter set, and a condition asked that needs it. */
const condition = (code: number, value: (lab: Lab) => CborValue): Attack =>
  resealed((draft, lab) => asksAlso(draft, ...set(code, value(lab)), code, REPORT));

export const IDENTITY_ROWS: readonly Forgery[] = [
  {
    name: 'For whatever vendor',
    threat: 'IMG.INCOMPATIBLE',
    built: 'the vendor condition is left out',
    refusal: 'vendor-not-named',
    attack: withoutCondition(VENDOR),
  },
  {
    name: 'For whatever class',
    threat: 'IMG.INCOMPATIBLE',
    built: 'the class condition is left out',
    refusal: 'class-not-named',
    attack: withoutCondition(CLASS),
  },
  {
    name: 'For another vendor',
    threat: 'IMG.INCOMPATIBLE',
    built: 'the vendor identifier is that of another maker',
    refusal: 'vendor-wrong',
    attack: resealed((draft) => {
      draft.parameter(VENDOR, () => vendorId('another-maker.example'));
    }),
  },
  {
    name: 'For another class',
    threat: 'IMG.INCOMPATIBLE',
    built: 'the class identifier is that of another model of the same vendor',
    refusal: 'class-wrong',
    attack: resealed((draft, lab) => {
      draft.parameter(CLASS, () => classId(lab.vendorId, 'another model'));
    }),
  },
  {
    name: 'For another unit',
    threat: 'IMG.INCOMPATIBLE',
    built: 'the manifest is for one single unit, and that is another one',
    refusal: 'device-wrong',
    attack: condition(DEVICE, ({ vendorId: vendor }) => uuidV5(vendor, encode('another unit'))),
  },
  {
    name: 'For a slot that is not free',
    threat: 'IMG.LOCATION',
    built: 'the manifest has an image for a third slot, and for none of the two',
    refusal: 'slot-not-offered',
    attack: resealed((draft) =>
      asksAlso(draft, TRY_EACH, [encode([...set(SLOT, 2), SLOT, 5]), encode([...set(SLOT, 3), SLOT, 5])]),
    ),
  },
  {
    name: 'Past its date',
    threat: 'IMG.EXPIRED',
    built: 'the manifest was to be used before yesterday',
    where: ['clock'],
    refusal: 'use-before-passed',
    attack: condition(USE_BEFORE, ({ subject }) => Math.floor(subject.now.getTime() / 1000) - 86_400),
  },
  {
    name: 'With a date, for a unit that has no clock',
    threat: 'IMG.EXPIRED.OFFLINE',
    built: 'the manifest is to be used before tomorrow, and the unit cannot tell',
    where: ['no clock'],
    refusal: 'clock-needed',
    attack: condition(USE_BEFORE, ({ subject }) => Math.floor(subject.now.getTime() / 1000) + 86_400),
  },
  {
    name: 'A condition about nothing',
    threat: 'IMG.INCOMPATIBLE',
    built: 'the single unit is asked for, and never named',
    refusal: 'parameter-missing',
    attack: resealed((draft) => asksAlso(draft, DEVICE, REPORT)),
  },
  {
    name: 'A manifest that ends itself',
    threat: 'IMG.INCOMPATIBLE',
    built: 'the shared sequence ends in a command to abort',
    refusal: 'condition-failed',
    attack: resealed((draft) => asksAlso(draft, ABORT, REPORT)),
  },
  {
    name: 'A condition that units cannot judge',
    threat: 'IMG.INCOMPATIBLE',
    built: 'the manifest asks for more charge than the unit knows it has',
    refusal: 'condition-failed',
    attack: condition(BATTERY, () => 100),
  },
];

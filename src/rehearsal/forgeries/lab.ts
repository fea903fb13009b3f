/** Where forgeries are made and offered: the real unit, its stand-in, and the payload in pieces. Work is shared by all rows. */
import { sourceOf } from '../../bytes/index.ts';
import { parseUuid } from '../../suit/index.ts';
import {
  checkForUnit,
  prepareRecord,
  type StepName,
  stepOf,
  type UnitProfile,
  type UnitRecord,
  type UnitState,
  type UnitView,
} from '../../unit/index.ts';
import type { BlockChanges } from './blocks.ts';
import { withThrowawayAuthors } from './dependencies.ts';
import { Draft } from './draft.ts';
import { Field } from './field.ts';
import { type Heard, heardOf } from './heard.ts';
import { type NamedImage, namedImages, partsOf, type Unsealed, withOtherImages } from './images.ts';
import { type Offer, type Parts, takeApart } from './parts.ts';
import { type Sealing, sealedEnvelope, sealing } from './seals.ts';
import { makeStandIn, profileOf, type StandIn } from './stand-in.ts';
import { type Genuine, reaches, type Subject } from './subject.ts';

/** How a unit is asked: what it remembers, what its record says, what its clock reads. */
export interface Asked {
  readonly state?: (state: UnitState) => Partial<UnitState>;
  readonly record?: Partial<UnitRecord>;
  readonly now?: Date;
}

/** A unit, and a payload that it takes. */
export interface Party {
  readonly who: 'unit' | 'stand-in';
  readonly offer: Offer;
  /** The payload in pieces. */
  readonly parts: Parts;
  readonly ask: (offer: Offer, asked?: Asked) => Heard;
}

const FLASH_UNTOUCHED_UNTIL = stepOf('fit').number;

/** One rehearsal at work. */
export class Lab {
  readonly subject: Subject;
  readonly genuine: Genuine;
  readonly standIn: StandIn;
  /** The real payload in pieces. */
  readonly parts: Parts;
  /** The payload for the stand-in, not sealed yet: the same, or with an image of its own where the real one is encrypted. */
  readonly unsealed: Unsealed;
  readonly field: Field;
  readonly #real: Party;
  readonly #standing: Party;

  private constructor(given: Pick<Lab, 'subject' | 'genuine' | 'standIn' | 'parts' | 'unsealed' | 'field'>) {
    ({
      subject: this.subject,
      genuine: this.genuine,
      standIn: this.standIn,
      parts: this.parts,
      unsealed: this.unsealed,
      field: this.field,
    } = given);
    const { offer, now } = this.subject;
    this.#real = {
      who: 'unit',
      offer,
      parts: this.parts,
      ask: (forged, asked = {}) =>
        ask(changed(this.genuine.unit, asked.state, asked.record), forged, asked.now ?? now),
    };
    this.#standing = {
      who: 'stand-in',
      offer: this.twin,
      parts: takeApart(sourceOf(this.twin.envelope)),
      ask: (forged, asked) => this.askStandIn(forged, asked),
    };
  }

  /** Prepares a rehearsal. Throws `FormUnknown`, `StandInRefuses`. */
  static async open(subject: Subject, genuine: Genuine): Promise<Lab> {
    const parts = takeApart(sourceOf(subject.offer.envelope));
    const made = await makeStandIn(subject.record, genuine.verdict.facts, subject.now);
    const running = genuine.unit.state.running ?? 0;
    const { image } = subject.offer;
    const authored = await withThrowawayAuthors(parts, genuine.verdict.facts, made);
    const encrypts = namedImages(parts).some(({ info }) => info);
    const unsealed = encrypts
      ? await withOtherImages({ parts: authored, image }, made.cipher, 1 - running)
      : { parts: authored, image };
    const standIn = withLowerFloor(made, new Draft(parts).number);
    const offers = {
      predecessor: await predecessorOf(unsealed, standIn, running),
      release: {
        envelope: await sealedEnvelope(unsealed.parts, sealing(standIn.sealers)),
        image: unsealed.image,
      },
    };
    const field = new Field(standIn.parts, offers, subject.now, running);
    return new Lab({ subject, genuine, standIn, parts, unsealed, field });
  }

  get record(): UnitRecord {
    return this.subject.record;
  }

  get vendorId(): Uint8Array {
    return parseUuid(this.record.vendor_id);
  }

  get profile(): UnitProfile {
    return profileOf(this.record);
  }

  /** How many signatures the unit asks for. */
  get needed(): number {
    return prepareRecord(this.record).policy?.needed ?? 1;
  }

  /** Bytes of the image for the slot that is free. */
  get imageSize(): number {
    const images = namedImages(this.parts);
    return (images[this.field.slots.free] ?? images[0]!).size;
  }

  /** Digest and size of every image that the authority of the stand-in sealed for it. */
  get sealedImages(): readonly NamedImage[] {
    const { predecessor, release } = this.field.offers;
    return [predecessor, release].flatMap(({ envelope }) => namedImages(takeApart(sourceOf(envelope))));
  }

  /** Public keys of those who vouch for the real payload, as SubjectPublicKeyInfo. */
  publicKeys(): Uint8Array[] {
    const { authentications = [] } = this.genuine.verdict.facts;
    return authentications.flatMap(({ signer }) => signer?.certificate.spki ?? []);
  }

  /** The payload as the stand-in takes it. */
  get twin(): Offer {
    return this.field.offers.release;
  }

  /** The real unit where it can judge up to a step with the keys at hand, else the stand-in. */
  partyFor(step: StepName): Party {
    return reaches(this.genuine, step) ? this.#real : this.#standing;
  }

  /** The stand-in. Where it is what it is, it is handed the offer to install, and its flash is watched. */
  askStandIn(offer: Offer, { state, record, now }: Asked = {}): Heard {
    if (!state && !record && !now) return this.#offerToField(offer);
    const { view } = this.field.power('kept').unit;
    return ask(changed(view(), state, record), offer, now ?? this.subject.now);
  }

  /** A draft of the stand-in's payload, to be changed. */
  draft(): Draft {
    return new Draft(this.unsealed.parts);
  }

  /** A changed draft, sealed for the stand-in. */
  async seal(draft: Draft, changes: BlockChanges = {}): Promise<Offer> {
    return this.sealParts(partsOf(draft, this.unsealed.parts), sealing(this.standIn.sealers, changes));
  }

  /** Parts that are sealed for the stand-in, or by whomever. */
  async sealParts(parts: Parts, seal: Sealing = sealing(this.standIn.sealers)): Promise<Offer> {
    return { envelope: await sealedEnvelope(parts, seal), image: this.unsealed.image };
  }

  #offerToField(offer: Offer): Heard {
    const { unit, flash, bytes } = this.field.power('kept');
    const result = unit.install(this.field.request(offer));
    const step = result.refusal ? stepOf(result.refusal.step).number : Number.POSITIVE_INFINITY;
    if (step <= FLASH_UNTOUCHED_UNTIL && flash.operations > 0)
      return heardOf(result, `${flash.operations} flash operations before it was refused`);
    return heardOf(result, this.#harmTo(bytes));
  }

  /** The running slot is as it was, whatever was offered. */
  #harmTo(bytes: Uint8Array): string | undefined {
    const { flashOffset, flash } = this.field.layout;
    const { offset, size } = flash.slots[this.field.slots.running]!;
    const from = flashOffset + offset;
    const before = this.field.at('kept');
    const same = Buffer.compare(bytes.subarray(from, from + size), before.subarray(from, from + size)) === 0;
    return same ? undefined : 'the running slot was written to';
  }
}

function ask(unit: UnitView, { envelope, image }: Offer, now: Date): Heard {
  const verdict = checkForUnit({
    unit,
    envelope: sourceOf(envelope),
    ...(image && { image: sourceOf(image) }),
    now,
  });
  return heardOf(verdict);
}

function changed(unit: UnitView, state: Asked['state'], record: Asked['record']): UnitView {
  return {
    ...unit,
    record: { ...unit.record, ...record },
    state: { ...unit.state, ...state?.(unit.state) },
  };
}

/** A unit whose floor is the payload's own number could never have held the release before it. */
function withLowerFloor(standIn: StandIn, number: bigint): StandIn {
  const { record } = standIn.parts;
  const { floors } = record;
  if (BigInt(floors.sequence_number) < number) return standIn;
  const lowered = { ...floors, sequence_number: String(number > 0n ? number - 1n : 0n) };
  return {
    ...standIn,
    parts: { ...standIn.parts, record: { ...record, floors: lowered } },
    swapped: [...standIn.swapped, 'the floor of its sequence number'],
  };
}

/** The release before this one: the number below it, and other images. */
async function predecessorOf(unsealed: Unsealed, standIn: StandIn, slot: number): Promise<Offer> {
  const { parts, image } = await withOtherImages(unsealed, standIn.cipher, slot);
  const draft = new Draft(parts);
  draft.number -= 1n;
  const envelope = await sealedEnvelope(partsOf(draft, parts), sealing(standIn.sealers));
  return { envelope, image };
}

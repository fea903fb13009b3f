/** Step 11: what somebody does to the flash between the moment it was verified and the moment it runs. */
import { sourceOf } from '../../../bytes/index.ts';
import { encode, headLength } from '../../../cbor/index.ts';
import { randomBytes } from '../../../crypto/index.ts';
import { digestOf } from '../../../suit/index.ts';
import type { UnitParts } from '../../../unit/index.ts';
import { type Draft, ELEMENT } from '../draft.ts';
import type { Field, Moment, PowerOptions } from '../field.ts';
import { type Attack, type Forgery, onField } from '../forgery.ts';
import { type Heard, refusedWith } from '../heard.ts';
import { partsOf, withImages } from '../images.ts';
import type { Lab } from '../lab.ts';
import { type Parts, putTogether, takeApart } from '../parts.ts';
import { sealedDigest, sealing } from '../seals.ts';
import { newSigner } from '../throwaway.ts';

const IMAGE_MATCH = 3;
const UNKNOWN = 10;

type Meanwhile = NonNullable<PowerOptions['meanwhile']>;

/** A start, and what it says of the slot in which the release waits; nothing but the former image may run. */
function startedAfter(field: Field, options: PowerOptions, moment: Moment = 'ready'): Heard {
  const { unit } = field.power(moment, options);
  const { passedOver, started } = unit.start();
  const former = digestOf(encode(takeApart(sourceOf(field.offers.predecessor.envelope)).manifest)).bytes;
  const runs = started?.facts?.manifestDigest;
  const harm =
    runs && Buffer.compare(runs, former) !== 0 ? 'another image than the former one was started' : undefined;
  const name = field.record.memory.slots[field.readySlot]!.name;
  return refusedWith(passedOver.find(({ slot }) => slot === name)?.refusal, harm);
}

/** The flash changed while the power was off. */
const meanwhile = (change: Meanwhile): Attack =>
  onField((field) => startedAfter(field, { meanwhile: change }));

const flip = (bytes: Uint8Array, at: number): void => {
  bytes[at]! ^= 1;
};

const readySlot = (bytes: Uint8Array, field: Field) =>
  field.part(bytes, field.layout.flash.slots[field.readySlot]!);
const readyEnvelope = (bytes: Uint8Array, field: Field) =>
  field.part(bytes, field.layout.flash.envelopes[field.readySlot]!);

/** The envelope that the unit keeps with the release, and its manifest. */
function kept(field: Field): Parts {
  return takeApart(sourceOf(field.offers.release.envelope));
}

/** Where the last authentication block ends, in the area that keeps the envelope. */
function endOfBlocks(bytes: Uint8Array, field: Field): number {
  const { manifest } = kept(field);
  const at = Buffer.from(readyEnvelope(bytes, field)).indexOf(manifest);
  return at - headLength(manifest.length) - 1;
}

/** Another envelope of the same length, sealed by the throwaway authority, in the place of the one that was kept. */
const otherEnvelope = (change: (draft: Draft) => void): Attack =>
  onField(async (field, lab) => {
    const draft = lab.draft();
    change(draft);
    const { manifest } = partsOf(draft, lab.unsealed.parts);
    const digest = sealedDigest(manifest);
    const blocks = await sealing(lab.standIn.sealers)(digest);
    const envelope = putTogether({ digest, blocks, manifest, severed: new Map(), integrated: [] });
    return startedAfter(field, {
      meanwhile: (bytes, at) => readyEnvelope(bytes, at).set(envelope),
    });
  });

/** The flash put into a unit that was provisioned otherwise. */
const inAnotherUnit = (parts: (field: Field, lab: Lab) => Partial<UnitParts>): Attack =>
  onField((field, lab) => startedAfter(field, { parts: parts(field, lab) }));

export const STORAGE_ROWS: readonly Forgery[] = [
  {
    name: 'One bit of the image once it was verified',
    threat: 'IMG.REPLACE',
    built: 'after the install one bit of the slot is changed; then the unit starts',
    refusal: 'stored-image-wrong',
    attack: meanwhile((bytes, field) => flip(readySlot(bytes, field), 5)),
  },
  {
    name: 'Another image in the slot that was verified',
    threat: 'IMG.REPLACE',
    built: 'after the install the slot is filled with another image; then the unit starts',
    refusal: 'stored-image-wrong',
    attack: onField((field, lab) => {
      const other = randomBytes(lab.imageSize);
      return startedAfter(field, { meanwhile: (bytes, at) => readySlot(bytes, at).set(other) });
    }),
  },
  {
    name: 'The former image in the slot of the new one',
    threat: 'IMG.EXPIRED',
    built: 'after the install the former image is copied over the new one; then the unit starts',
    refusal: 'stored-image-wrong',
    attack: meanwhile((bytes, field) => {
      const former = new Uint8Array(field.part(bytes, field.layout.flash.slots[field.slots.running]!));
      readySlot(bytes, field).set(former.subarray(0, readySlot(bytes, field).length));
    }),
  },
  {
    name: 'A former release, envelope and image, in the slot of the new one',
    threat: 'IMG.EXPIRED.OFFLINE',
    built:
      'after the install image and kept envelope of the former release are copied over those of the new one',
    where: ['one form of image'],
    refusal: 'stored-envelope-wrong',
    attack: meanwhile((bytes, field) => {
      const { running } = field.slots;
      const { slots, envelopes } = field.layout.flash;
      readySlot(bytes, field).set(new Uint8Array(field.part(bytes, slots[running]!)));
      readyEnvelope(bytes, field).set(new Uint8Array(field.part(bytes, envelopes[running]!)));
    }),
  },
  {
    name: 'One bit of the kept manifest',
    threat: 'MFST.TOCTOU',
    built: 'after the install the last bit of the manifest that is kept for the start is changed',
    refusal: 'stored-envelope-wrong',
    attack: meanwhile((bytes, field) => {
      const { manifest } = kept(field);
      const area = readyEnvelope(bytes, field);
      flip(area, Buffer.from(area).indexOf(manifest) + manifest.length - 1);
    }),
  },
  {
    name: 'The kept envelope wiped out',
    threat: 'MFST.TOCTOU',
    built: 'after the install the area that keeps the envelope is filled with zeros',
    refusal: 'stored-envelope-wrong',
    attack: meanwhile((bytes, field) => readyEnvelope(bytes, field).fill(0)),
  },
  {
    name: 'One bit of the kept seal',
    threat: 'MFST.TOCTOU',
    built: 'after the install the last bit of the signature or MAC that is kept for the start is changed',
    refusal: 'stored-authentication-wrong',
    attack: meanwhile((bytes, field) => flip(readyEnvelope(bytes, field), endOfBlocks(bytes, field) - 1)),
  },
  {
    name: 'A kept manifest with a command that nobody defined',
    threat: 'MFST.TOCTOU',
    built:
      'an envelope by the same signer whose invoke section holds an unknown command takes the place of the kept one',
    where: ['no dependencies'],
    refusal: 'stored-manifest-wrong',
    attack: otherEnvelope((draft) => invoking(draft, UNKNOWN)),
  },
  {
    name: 'A kept manifest that starts nothing',
    threat: 'MFST.TOCTOU',
    built:
      'an envelope by the same signer whose invoke section starts nothing takes the place of the kept one',
    where: ['no dependencies'],
    refusal: 'stored-start-failed',
    attack: otherEnvelope((draft) => invoking(draft, IMAGE_MATCH)),
  },
  {
    name: 'The flash of a unit that trusts somebody else',
    threat: 'IMG.NON_AUTH',
    built: 'the flash is put into a unit of the same class with another root, or with other MAC keys',
    refusal: 'stored-signer-wrong',
    attack: inAnotherUnit((field) => ({
      macKeys: new Map(field.record.mac_keys.map(() => ['00', randomBytes(32)])),
      record: {
        ...field.record,
        anchors: field.record.anchors.map((anchor) => ({
          ...anchor,
          spki: Buffer.from(newSigner().publicKey).toString('hex'),
        })),
      },
    })),
  },
  {
    name: 'The flash of a unit of another vendor',
    threat: 'IMG.INCOMPATIBLE',
    built: 'the flash is put into a unit that trusts the same keys and answers to another vendor identifier',
    refusal: 'stored-identity-wrong',
    attack: inAnotherUnit((field) => ({
      record: { ...field.record, vendor_id: '00000000-0000-5000-8000-000000000000' },
    })),
  },
  {
    name: 'The fixed firmware damaged, to get the flawed one to run',
    threat: 'IMG.EXPIRED',
    built:
      'a release with a higher security version was kept; its slot is damaged, and the former image lies beside it',
    where: ['two slots'],
    refusal: 'stored-version-below-floor',
    attack: onField(async (field, lab) => {
      const securityVersion = lab.standIn.sealers.securityVersion + 1;
      const fixed = await lab.sealParts(
        lab.unsealed.parts,
        sealing({ ...lab.standIn.sealers, securityVersion }),
      );
      const { unit, bytes } = field.power('kept');
      unit.install(field.request(fixed));
      unit.start();
      unit.keep();
      flip(readySlot(bytes, field), 5);
      const { passedOver, started } = unit.start();
      const name = field.record.memory.slots[field.slots.running]!.name;
      const harm = started ? 'something was started' : undefined;
      return refusedWith(passedOver.find(({ slot }) => slot === name)?.refusal, harm);
    }),
  },
  {
    name: 'Marks that somebody wrote over',
    threat: 'IMG.REPLACE',
    built: 'after the install the area of the marks is filled with zeros; then the unit starts',
    refusal: 'marks-unreadable',
    attack: meanwhile((bytes, field) => field.part(bytes, field.layout.flash.state).fill(0)),
  },
  {
    name: 'Marks of another unit',
    threat: 'IMG.EXPIRED',
    built:
      'the flash of a unit that was never updated is copied into this one: its marks are under another key',
    refusal: 'marks-unreadable',
    attack: onField((field) => startedAfter(field, { parts: { marksKey: randomBytes(32) } })),
  },
  {
    name: 'Every slot damaged',
    threat: 'IMG.REPLACE',
    built: 'one bit of each slot is changed; then the unit starts',
    refusal: 'nothing-to-start',
    attack: onField((field) => {
      const damage: Meanwhile = (bytes, at) => {
        for (const slot of at.layout.flash.slots) flip(at.part(bytes, slot), 5);
      };
      return refusedWith(field.power('ready', { meanwhile: damage }).unit.start().refusal);
    }),
  },
  {
    name: 'A forged image for a release that is on board',
    threat: 'NET.ONPATH',
    built: 'the release is offered once more to a unit that has it ready, with another image',
    where: ['plain image'],
    refusal: 'image-digest-wrong',
    attack: onField((field, lab) => {
      const { offers } = field;
      const parts = takeApart(sourceOf(offers.release.envelope));
      const other = randomBytes(lab.imageSize);
      const offer = {
        envelope: putTogether({
          ...parts,
          integrated: withImages(parts, (bytes) => randomBytes(bytes.length)),
        }),
        image: offers.release.image && other,
      };
      return refusedWith(field.power('ready').unit.install(field.request(offer)).refusal);
    }),
  },
];

/** Another command in the place of invoke, so that nothing else moves. */
function invoking(draft: Draft, code: number): void {
  const pairs = draft.section(ELEMENT.invoke);
  draft.setSection(
    ELEMENT.invoke,
    pairs.map((each, i) => (i % 2 === 0 && each === 23 ? code : each)),
  );
}

/** Steps 8 to 12: cells that fail, power that goes, and images that never proved themselves. */
import { equal, sourceOf } from '../../../bytes/index.ts';
import { randomBytes, sha256 } from '../../../crypto/index.ts';
import { type CutKind, type Flash, FlashError, PowerCut } from '../../../unit/index.ts';
import type { Field, Moment } from '../field.ts';
import { type Attack, type Forgery, onField } from '../forgery.ts';
import { type Heard, heardAs, refusedWith } from '../heard.ts';
import { withImages } from '../images.ts';
import type { Lab } from '../lab.ts';
import { putTogether, takeApart } from '../parts.ts';

/** Flash with one cell that always reads otherwise than it should. */
export function withBadCell(flash: Flash, at: number): Flash {
  return over(flash, {
    read(offset, length) {
      const bytes = flash.read(offset, length);
      if (at >= offset && at < offset + length) bytes[at - offset]! ^= 1;
      return bytes;
    },
  });
}

function over(flash: Flash, changes: Partial<Flash>): Flash {
  return {
    size: flash.size,
    geometry: flash.geometry,
    read: (offset, length) => flash.read(offset, length),
    erase: (offset, length) => flash.erase(offset, length),
    program: (offset, bytes) => flash.program(offset, bytes),
    ...changes,
  };
}

/** The release, installed on flash with a bad cell. */
const installedWithBadCell = (cell: (field: Field) => number): Attack =>
  onField((field) => {
    const { unit } = field.power('kept', { through: (flash) => withBadCell(flash, cell(field)) });
    return refusedWith(unit.install(field.request(field.offers.release)).refusal);
  });

const freeSlot = ({ layout, readySlot }: Field) => layout.flash.slots[readySlot]!;

/** Where the release brings the image of the first further component. */
const furtherArea = ({ layout, readySlot }: Field) => layout.flash.components[0]![readySlot]!;

/** What a unit does in its life. */
const ACTS = {
  install: (unit: ReturnType<Field['power']>['unit'], field: Field) =>
    unit.install(field.request(field.offers.release)),
  start: (unit: ReturnType<Field['power']>['unit']) => unit.start(),
  keep: (unit: ReturnType<Field['power']>['unit']) => unit.keep(),
} as const;
const BEFORE = { install: 'kept', start: 'ready', keep: 'on trial' } as const satisfies Record<
  string,
  Moment
>;

/** The power goes at a share of the flash operations of an act. Then the unit starts, and the act is done again. */
const cutAt = (act: keyof typeof ACTS, share: number, kind: CutKind = 'middle'): Attack =>
  onField((field, lab) => {
    const whole = field.power(BEFORE[act]);
    ACTS[act](whole.unit, field);
    const after = Math.min(Math.floor(whole.flash.operations * share), whole.flash.operations - 1);
    if (after < 0) return heardAs('only-genuine-runs');
    const cut = field.power(BEFORE[act], { cut: { after, kind } });
    const gone = wasCut(() => ACTS[act](cut.unit, field));
    if (!gone) return heardAs('the power was never cut');
    return afterTheCut(field, lab, cut.bytes);
  });

function wasCut(body: () => unknown): boolean {
  try {
    body();
    return false;
  } catch (error) {
    if (error instanceof PowerCut) return true;
    throw error;
  }
}

/** What runs after a cut is one of the two sealed images, and the release can still be installed and run. */
function afterTheCut(field: Field, lab: Lab, bytes: Uint8Array): Heard {
  const { unit } = field.restart(bytes);
  const first = unit.start();
  if (!first.started) return refusedWith(first.refusal);
  if (!runsGenuine(field, lab, bytes, first.started.image))
    return heardAs('an image that nobody sealed runs');
  if (unit.install(field.request(field.offers.release)).verdict === 'refused') unit.keep();
  const again = unit.install(field.request(field.offers.release));
  if (again.refusal?.code === 'fell-back-before') return heardAs('only-genuine-runs');
  if (again.verdict !== 'accepted') return heardAs(`resumed: ${again.refusal?.code}`);
  const last = unit.start();
  if (!last.started || !runsGenuine(field, lab, bytes, last.started.image))
    return heardAs('after the release was installed again, an image that nobody sealed runs');
  return heardAs('only-genuine-runs');
}

/** The slot that runs, as it lies in the flash, holds the image of the release or of the one before it. */
function runsGenuine(field: Field, lab: Lab, bytes: Uint8Array, slotName: string): boolean {
  const { slots } = field.record.memory;
  const slot = field.part(bytes, field.layout.flash.slots[slots.findIndex(({ name }) => name === slotName)]!);
  return lab.sealedImages.some(({ digest, size }) => equal(sha256(slot.subarray(0, size)), digest));
}

export const LIFE_ROWS: readonly Forgery[] = [
  {
    name: 'A cell that does not hold what was written',
    threat: 'IMG.REPLACE',
    built: 'one bit in the slot reads otherwise than it was programmed',
    where: ['plain image'],
    refusal: 'image-digest-wrong',
    attack: installedWithBadCell((field) => freeSlot(field).offset + 5),
  },
  {
    name: 'A cell of a further component that does not hold',
    threat: 'IMG.REPLACE',
    built: 'one bit in the area of a further component reads otherwise than it was programmed',
    where: ['dependencies', 'further components'],
    refusal: 'image-digest-wrong',
    attack: installedWithBadCell((field) => furtherArea(field).offset + 5),
  },
  {
    name: 'Something left behind the image of a further component',
    threat: 'IMG.EXTRA',
    built: 'the last bit in the area of a further component, behind its image, is not erased',
    where: ['dependencies', 'further components'],
    refusal: 'image-length-wrong',
    attack: installedWithBadCell((field) => furtherArea(field).offset + furtherArea(field).size - 1),
  },
  {
    name: 'Something left behind the image',
    threat: 'IMG.EXTRA',
    built: 'the last bit of the slot, behind the image, is not erased',
    where: ['room behind the image'],
    refusal: 'image-length-wrong',
    attack: installedWithBadCell((field) => freeSlot(field).offset + freeSlot(field).size - 1),
  },
  {
    name: 'A kept envelope that reads otherwise',
    threat: 'MFST.TOCTOU',
    built: 'one bit in the area that keeps the envelope reads otherwise than it was programmed',
    refusal: 'image-length-wrong',
    attack: installedWithBadCell((field) => field.layout.flash.envelopes[field.readySlot]!.offset + 5),
  },
  {
    name: 'Flash that is worn out',
    threat: 'IMG.REPLACE',
    built: 'no page of the slot can be erased any more',
    refusal: 'flash-failed',
    attack: onField((field) => {
      const { memory } = field.record;
      const record = { ...field.record, memory: { ...memory, flash: { ...memory.flash, endurance: 0 } } };
      const { unit } = field.power('kept', { parts: { record } });
      return refusedWith(unit.install(field.request(field.offers.release)).refusal);
    }),
  },
  {
    name: 'A mark that cannot be written',
    threat: 'IMG.REPLACE',
    built: 'the image is in its slot, and the area of the marks takes nothing more',
    refusal: 'mark-not-written',
    attack: onField((field) => {
      const { state, envelopes } = field.layout.flash;
      const area = envelopes[field.readySlot]!;
      let filled = false;
      const { unit } = field.power('kept', {
        through: (flash) =>
          over(flash, {
            program(offset, bytes) {
              if (offset >= state.offset && filled)
                throw new FlashError('worn-out', offset, 'the page is worn out');
              flash.program(offset, bytes);
              if (offset >= area.offset && offset < area.offset + area.size) filled = true;
            },
          }),
      });
      return refusedWith(unit.install(field.request(field.offers.release)).refusal);
    }),
  },
  {
    name: 'An interrupted install, resumed with another image',
    threat: 'NET.ONPATH',
    built: 'the power goes half way through the install; then the same envelope comes with another image',
    where: ['plain image'],
    refusal: 'image-digest-wrong',
    attack: onField((field) => {
      const whole = field.power('kept');
      whole.unit.install(field.request(field.offers.release));
      const after = Math.floor(whole.flash.operations / 2);
      const { unit, bytes } = field.power('kept', { cut: { after, kind: 'middle' } });
      wasCut(() => unit.install(field.request(field.offers.release)));
      const { envelope, image } = field.offers.release;
      const parts = takeApart(sourceOf(envelope));
      const integrated = withImages(parts, (own) => randomBytes(own.length));
      const offer = {
        envelope: putTogether({ ...parts, integrated }),
        image: image && randomBytes(image.length),
      };
      const again = field.restart(bytes);
      again.unit.start();
      return refusedWith(again.unit.install(field.request(offer)).refusal);
    }),
  },
  {
    name: 'The power gone before the first byte is written',
    threat: 'IMG.REPLACE',
    built: 'the power goes at the first flash operation of an install; the unit starts, and installs again',
    refusal: 'only-genuine-runs',
    attack: cutAt('install', 0),
  },
  {
    name: 'The power gone early in an install',
    threat: 'IMG.REPLACE',
    built: 'the power goes after a tenth of the install; the unit starts, and installs again',
    refusal: 'only-genuine-runs',
    attack: cutAt('install', 0.1),
  },
  {
    name: 'The power gone half way through an install',
    threat: 'IMG.REPLACE',
    built: 'the power goes in the middle of the install; the unit starts, and installs again',
    refusal: 'only-genuine-runs',
    attack: cutAt('install', 0.5),
  },
  {
    name: 'The power gone while the slot is marked ready',
    threat: 'IMG.REPLACE',
    built: 'the power goes at the last flash operation of the install; the unit starts, and installs again',
    refusal: 'only-genuine-runs',
    attack: cutAt('install', 1),
  },
  {
    name: 'The power gone when the new image starts',
    threat: 'IMG.REPLACE',
    built: 'the power goes at the first flash operation of the start; the unit starts again',
    refusal: 'only-genuine-runs',
    attack: cutAt('start', 0),
  },
  {
    name: 'The power gone half way through a start',
    threat: 'IMG.REPLACE',
    built:
      'the power goes in the middle of what the start writes: marks, or the move out of the staging area',
    refusal: 'only-genuine-runs',
    attack: cutAt('start', 0.5),
  },
  {
    name: 'The power gone while the image is kept',
    threat: 'IMG.REPLACE',
    built: 'the power goes in the middle of the mark that keeps the image and raises the floors',
    refusal: 'only-genuine-runs',
    attack: cutAt('keep', 0.5),
  },
  {
    name: 'An image kept that never started',
    threat: 'IMG.REPLACE',
    built: 'the unit is told to keep the new image before it ever ran',
    refusal: 'nothing-on-trial',
    attack: onField((field) => refusedWith(field.power('ready', { running: undefined }).unit.keep().refusal)),
  },
  {
    name: 'An image that never proved itself',
    threat: 'IMG.REPLACE',
    built: 'the new image ran on trial, and the unit starts again before it was kept',
    where: ['two slots'],
    refusal: 'trial-ran-out',
    attack: onField((field) => refusedWith(field.power('on trial').unit.start().passedOver[0]?.refusal)),
  },
  {
    name: 'An image changed while it was on trial',
    threat: 'MFST.TOCTOU',
    built: 'one bit of the running slot is changed before the image is kept',
    refusal: 'floor-would-strand',
    attack: onField((field) => {
      const { unit } = field.power('on trial', {
        meanwhile: (bytes) => {
          field.part(bytes, field.layout.flash.slots[field.releaseSlot]!)[5]! ^= 1;
        },
      });
      return refusedWith(unit.keep().refusal);
    }),
  },
  {
    name: 'A floor that nothing on board reaches',
    threat: 'IMG.EXPIRED',
    built: 'the security floor is raised above every image that the unit holds',
    refusal: 'floor-would-strand',
    attack: onField((field, { standIn }) => {
      const securityVersion = standIn.sealers.securityVersion + 1;
      return refusedWith(field.power('kept').unit.raiseFloors({ securityVersion }).refusal);
    }),
  },
];

import { z } from 'zod';
import type { Depot, Offer } from '../../../broadcast/index.ts';
import { fromHex, toHex } from '../../../bytes/index.ts';
import type { Broadcast } from '../../store/types.ts';
import type { BroadcastPlan } from '../plan/plan.ts';

/** What a broadcast is steered by, fixed when it is made: kept in the store as its plan. */
export interface Course {
  readonly plan: BroadcastPlan;
  /** Of its shares. */
  readonly lot: Uint8Array;
  /** Device identifiers of the units that the pilot names, 32 hexadecimal digits each, ascending. */
  readonly named: readonly string[];
  readonly offer: Offer;
  /** By ascending sequence number. */
  readonly steppingStones: readonly Offer[];
}

/** Bytes of a lot. */
export const LOT_LENGTH = 16;

const FORMAT = 'fieldseal.broadcast-course/1';
const count = z.int().min(0);
const bytes = (length: number) =>
  z
    .string()
    .regex(new RegExp(`^[0-9a-f]{${length * 2}}$`))
    .transform((text) => fromHex(text));
const sequence = z
  .string()
  .regex(/^\d{1,19}$/)
  .transform((text) => BigInt(text));
const file = z.strictObject({ digest: bytes(32), size: count, uri: z.string() });
const offer = z.strictObject({
  manifestDigest: bytes(32),
  sequenceNumber: sequence,
  envelope: file,
  images: z.array(file),
});
const limit = z.strictObject({ share: count, least: count });
const wave = z.strictObject({
  name: z.string(),
  serials: z.array(z.string()),
  share: count,
  soak: count,
  success: count,
  within: count,
  silence: count,
  stop: z.strictObject({ refused: limit, fellBack: limit, silent: limit }),
});
const schema = z.strictObject({
  format: z.literal(FORMAT),
  plan: z.strictObject({
    className: z.string(),
    announcedFor: count,
    condition: z.string().optional(),
    steppingStones: z.array(count),
    unpilotedHardware: z.array(z.string()),
    waves: z.array(wave).min(1),
  }),
  lot: bytes(LOT_LENGTH),
  named: z.array(z.string().regex(/^[0-9a-f]{32}$/)),
  offer,
  steppingStones: z.array(offer),
});

/** A course as JSON keeps it. */
export function courseJson({ plan, lot, named, offer: main, steppingStones }: Course): object {
  return {
    format: FORMAT,
    plan,
    lot: toHex(lot),
    named,
    offer: offerJson(main),
    steppingStones: steppingStones.map(offerJson),
  };
}

/** Throws where it is not what `courseJson` gave: a store that was changed by something else is steered by nobody. */
export function courseFrom(value: unknown): Course {
  const { plan, ...rest } = schema.parse(value);
  return { ...rest, plan: { ...plan, condition: plan.condition } };
}

function offerJson({ manifestDigest, sequenceNumber, envelope, images }: Offer): object {
  return {
    manifestDigest: toHex(manifestDigest),
    sequenceNumber: String(sequenceNumber),
    envelope: fileJson(envelope),
    images: images.map(fileJson),
  };
}

function fileJson({ digest, size, uri }: Offer['envelope']): object {
  return { digest: toHex(digest), size, uri };
}

/** Everything that a course offers. */
export function offersOf({ offer: main, steppingStones }: Course): Offer[] {
  return [main, ...steppingStones];
}

/** Whether a depot holds the envelope of what a broadcast offers, as far as its size tells. */
export function liesIn(depot: Depot, broadcast: Pick<Broadcast, 'plan'>): boolean {
  return depot.holds(courseFrom(broadcast.plan).offer.envelope);
}

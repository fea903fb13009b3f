import type { ByteSource } from '../../bytes/index.ts';
import type { DeviceClass } from '../../workspace/index.ts';
import type { FigureBook, Link, UnitFigures } from '../figures/book.ts';
import type { UnitFigure } from '../figures/unit-rows.ts';
import { type Sending, sendingOf } from './delivery.ts';
import { effortOf, type UnitEffort, type UnitWork } from './energy.ts';
import { type PayloadFacts, readPayload } from './payload.ts';
import { measureDeltas, type Variant, variantsOf } from './variants.ts';

/** A variant over a link: what it takes. */
export interface VariantCost {
  readonly variant: Variant;
  readonly sending: Sending;
  readonly effort: UnitEffort;
  /** In the money of the figures entered; undefined where none was. */
  readonly money: number | undefined;
}

export interface LinkCost {
  readonly link: Link;
  readonly variants: readonly VariantCost[];
}

/** What a release costs over each link. */
export interface Cost {
  readonly units: number;
  readonly recipients: number;
  readonly payload: PayloadFacts;
  readonly figures: FigureBook;
  readonly unit: UnitFigures;
  readonly links: readonly LinkCost[];
}

export interface CostRequest {
  readonly payload: ByteSource;
  /** The release that units run, for deltas. */
  readonly precursor?: ByteSource | undefined;
  readonly deviceClass: DeviceClass;
  readonly figures: FigureBook;
  /** Names of links. */
  readonly links: readonly string[];
  readonly units: number;
  /** Recipients where images are encrypted; undefined: as many as the payload was sealed for, or one for each unit. */
  readonly recipients: number | undefined;
}

const VERIFY_FIGURES: Readonly<Record<string, UnitFigure>> = {
  ESP256: 'esp256_verify',
  Ed25519: 'ed25519_verify',
  'HSS-LMS': 'hss_lms_verify',
};

/** Airtime, time to complete, energy and money of a release over each link (sources: the figures). */
export function costOf(request: CostRequest): Cost {
  const { deviceClass, figures, units } = request;
  const payload = readPayload(request.payload);
  const precursor = request.precursor && readPayload(request.precursor);
  const recipients = request.recipients ?? payload.recipients ?? units;
  const variants = variantsOf({
    deviceClass,
    payload,
    recipients,
    deltas: precursor && measureDeltas(precursor.clear, payload.clear),
    figures: figures.delta,
  });
  const unit = figures.unit(deviceClass.name);
  const links = request.links.map((name): LinkCost => {
    const link = figures.link(name);
    return { link, variants: variants.map((variant) => costOver(link, variant, request, payload, unit)) };
  });
  return { units, recipients, payload, figures, unit, links };
}

function costOver(
  link: Link,
  variant: Variant,
  { deviceClass, units }: CostRequest,
  payload: PayloadFacts,
  unit: UnitFigures,
): VariantCost {
  const sending = sendingOf(link, variant.bytes, units);
  const effort = effortOf(link, sending, workOf(variant, payload, deviceClass), unit);
  return { variant, sending, effort, money: moneyOf(link, sending) };
}

function moneyOf({ figures: { tariff, air_price } }: Link, sending: Sending): number | undefined {
  if (!tariff && !air_price) return undefined;
  const bytes = (sending.bytesPaid / 2 ** 20) * (tariff?.value ?? 0);
  return bytes + (sending.airTime / 3600) * (air_price?.value ?? 0);
}

/** What the virtual unit does: the whole slot erased, the image hashed when written and at start; a staged one once more. */
function workOf(
  variant: Variant,
  { images, verifications }: PayloadFacts,
  deviceClass: DeviceClass,
): UnitWork {
  const { memory, profile } = deviceClass;
  const image = Math.max(0, ...images);
  const fills = memory.shape === 'staged' ? 2 : 1;
  const received = Math.min(variant.bytes - variant.envelope, image);
  return {
    programmed: image * fills,
    pages: memory.slots
      .slice(0, fills)
      .reduce((sum, { size }) => sum + Math.ceil(size / memory.flash.erase_page), 0),
    writeUnit: memory.flash.write_unit,
    hashed: image * (fills + 1) + (variant.encrypted ? received : 0) + (variant.delta ? image : 0),
    decrypted: variant.encrypted ? received : 0,
    verifications: verifications * 2,
    verifyFigure: VERIFY_FIGURES[profile.authentication.name],
  };
}

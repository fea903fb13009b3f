import type { Json, JsonObject } from '../../workspace/index.ts';
import type { Link } from '../figures/book.ts';
import { figuresJson } from '../figures/json.ts';
import type { Cost, LinkCost, VariantCost } from './cost.ts';

/** A cost as `cost --json` gives it (format fieldseal.cost/1), without what the asker knows. */
export function costJson(cost: Cost): JsonObject {
  const { units, recipients, payload, figures, unit, links } = cost;
  return {
    units,
    recipients,
    image_sizes_bytes: [...payload.images],
    links: links.map(linkCostJson),
    figures: {
      unit: figuresJson(unit),
      delta: figuresJson(figures.delta),
      links: links.map(({ link }) => linkJson(link)),
    },
  };
}

/** A link and its figures, each with its source. */
export function linkJson({ name, about, delivery, listening, figures }: Link): JsonObject {
  return { name, about, delivery, listening, figures: figuresJson(figures) };
}

function linkCostJson({ link, variants }: LinkCost): JsonObject {
  return { link: link.name, delivery: link.delivery, variants: variants.map(variantJson) };
}

function variantJson({ variant, sending, effort, money }: VariantCost): JsonObject {
  return {
    variant: variant.name,
    basis: variant.basis,
    hindrance: variant.hindrance ?? null,
    size_bytes: variant.bytes,
    envelope_bytes: variant.envelope,
    frames: sending.frames,
    needed_frames: sending.neededFrames,
    frame_time_s: sending.frameTime,
    chance_without_redundancy: sending.chanceWithoutRedundancy,
    chance_after_one_round: sending.chance,
    repair_frames: sending.repairFrames,
    air_time_s: sending.airTime,
    time_to_complete_s: sending.timeToComplete,
    listening_time_s: sending.listeningTime,
    energy_mwh: {
      receive: effort.receive,
      receive_frames_only: effort.receiveFramesOnly,
      flash: effort.flash,
      verify: effort.verify,
      once: effort.once,
    },
    minimum_battery_mwh: effort.minimumBattery,
    share_of_cell: effort.shareOfCell,
    flash_time_s: effort.flashTime,
    verify_time_s: effort.verifyTime,
    money: (money ?? null) as Json,
  };
}

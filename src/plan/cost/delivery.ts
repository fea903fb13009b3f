import type { Link } from '../figures/book.ts';
import type { Figure } from '../figures/figure.ts';
import type { LinkFigure } from '../figures/link-rows.ts';
import { arrivalOf, chanceOfAll } from './arrival.ts';
import { loraAirtime } from './lora-airtime.ts';

/** What sending a payload over a link takes. Times in seconds. */
export interface Sending {
  /** Frames that hold the payload. */
  readonly neededFrames: number;
  /** Frames that are sent to all, or to each unit, redundancy included, resent frames not. */
  readonly frames: number;
  /** Time on air of one frame. */
  readonly frameTime: number;
  /** Chance that a unit gets every one of `neededFrames` when each is sent once: (1 - p)^n. */
  readonly chanceWithoutRedundancy: number;
  /** Chance that a unit has the payload after one round. */
  readonly chance: number;
  /** Frames sent after that round until every unit has everything, on average, all units together. */
  readonly repairFrames: number;
  /** Time on air of the sender for all units, repair included. */
  readonly airTime: number;
  /** The same with the waiting that the duty cycle asks for: until the last unit has everything. */
  readonly timeToComplete: number;
  /** For how long one unit's receiver hears frames. */
  readonly hearingTime: number;
  /** For how long one unit's receiver is on. */
  readonly listeningTime: number;
  /** Payload bytes paid for, resent ones included, all units together. */
  readonly bytesPaid: number;
}

/** A figure of a link that has it. */
export function linkValue(link: Link, name: LinkFigure): number {
  const figure: Figure | undefined = link.figures[name];
  if (!figure) throw new TypeError(`the link ${link.name} has no ${name}`);
  return figure.value;
}

/** Seconds on air of one full frame of a link. */
export function frameTimeOf(link: Link): number {
  const value = (name: LinkFigure) => linkValue(link, name);
  const bytes = value('payload') + value('frame_overhead');
  if (link.figures.rate) return (8 * bytes) / value('rate');
  return loraAirtime(bytes, {
    spreadingFactor: value('spreading_factor'),
    bandwidth: value('bandwidth'),
    codingRate: value('coding_rate'),
    preamble: value('preamble'),
  });
}

/** What sending `bytes` to `units` units takes. Throws `RangeError` where a frame has no room beside its header. */
export function sendingOf(link: Link, bytes: number, units: number): Sending {
  const room = linkValue(link, 'payload') - linkValue(link, 'fragment_header');
  if (room < 1) throw new RangeError(`a frame of ${link.name} has no room beside its fragment header`);
  return link.delivery === 'broadcast'
    ? broadcast(link, bytes, units, room)
    : unitByUnit(link, bytes, units, room);
}

/** ceil(S(1+r)/P) frames to all, then a repair round in which each lacking frame is sent until it arrives. */
function broadcast(link: Link, bytes: number, units: number, room: number): Sending {
  const loss = linkValue(link, 'loss');
  const duty = linkValue(link, 'duty_cycle');
  const frameTime = frameTimeOf(link);
  const neededFrames = Math.ceil(bytes / room);
  const frames = Math.max(neededFrames, Math.ceil((bytes * (1 + linkValue(link, 'redundancy'))) / room));
  const { enough, lacking } = arrivalOf(frames, neededFrames, loss);
  const repairEach = lacking / (1 - loss);
  const repairFrames = repairEach * units;
  const airTime = (frames + repairFrames) * frameTime;
  const timeToComplete = airTime / duty;
  const hearingTime = (frames + repairEach) * frameTime;
  return {
    neededFrames,
    frames,
    frameTime,
    chanceWithoutRedundancy: chanceOfAll(neededFrames, loss),
    chance: enough,
    repairFrames,
    airTime,
    timeToComplete,
    hearingTime,
    // A unit listens through the broadcast and to its own repair, not to that of the others.
    listeningTime: link.listening === 'throughout' ? hearingTime / duty : hearingTime,
    bytesPaid: (frames + repairFrames) * room,
  };
}

/** Each unit by itself; what is lost is sent again. */
function unitByUnit(link: Link, bytes: number, units: number, room: number): Sending {
  const loss = linkValue(link, 'loss');
  const duty = linkValue(link, 'duty_cycle');
  const frameTime = frameTimeOf(link);
  const neededFrames = Math.ceil(bytes / room);
  const chance = chanceOfAll(neededFrames, loss);
  const sent = neededFrames / (1 - loss);
  // The last frame is rarely full: on a link that counts bits, only its bits count.
  const full = link.figures.rate ? bytes / room : neededFrames;
  const hearingTime = (full * frameTime) / (1 - loss);
  const airTime = hearingTime * units;
  return {
    neededFrames,
    frames: neededFrames,
    frameTime,
    chanceWithoutRedundancy: chance,
    chance,
    repairFrames: (sent - neededFrames) * units,
    airTime,
    timeToComplete: (link.delivery === 'one-by-one' ? airTime : hearingTime) / duty,
    hearingTime,
    listeningTime: link.listening === 'throughout' ? hearingTime / duty : hearingTime,
    bytesPaid: (bytes * units) / (1 - loss),
  };
}

import type { BuiltIn } from './figure.ts';
import type { LinkFigure } from './link-rows.ts';

/**
 * How a payload reaches many units: sent once for all and then repaired, unit after unit on a shared medium, or to all
 * side by side.
 */
export const DELIVERIES = ['broadcast', 'one-by-one', 'side-by-side'] as const;
export type Delivery = (typeof DELIVERIES)[number];

/** What a link is before anybody entered a figure. */
export interface LinkRow {
  readonly about: string;
  readonly delivery: Delivery;
  /** Whether the receiver stays on for the whole time, or only while frames arrive. */
  readonly listening: 'throughout' | 'frames';
  readonly figures: Readonly<Partial<Record<LinkFigure, BuiltIn>>>;
}

const REGION = 'region table of an open LoRaWAN stack (repeater-safe sizes), EU 863-870 MHz';
const CURRENTS = 'typical data sheets';

function lorawan(
  rate: string,
  payload: number,
  modem: Readonly<Partial<Record<LinkFigure, BuiltIn>>>,
): LinkRow {
  return {
    about: `LoRaWAN in the EU, 868 MHz, data rate ${rate}, multicast to units that listen throughout`,
    delivery: 'broadcast',
    listening: 'throughout',
    figures: {
      payload: [payload, 'published', REGION],
      fragment_header: [3, 'from memory', 'fragmented data block transport, TS004'],
      ...modem,
      frame_overhead: [13, 'from memory', 'MAC header, frame header, port and integrity code'],
      duty_cycle: [0.1, 'from memory', 'EN 300 220, RP002: 869.4 to 869.65 MHz, second receive window'],
      redundancy: [0.1, 'common practice', 'fragment coding of TS004, 10 to 30 %'],
      loss: [0.01, 'common practice', 'measure it where your units are'],
      receive_current: [6, 'from memory', CURRENTS],
      supply: [3.3, 'from memory', CURRENTS],
    },
  };
}

function chirp(spreadingFactor: number, bandwidth = 125_000): Readonly<Partial<Record<LinkFigure, BuiltIn>>> {
  return {
    spreading_factor: [spreadingFactor, 'published', REGION],
    bandwidth: [bandwidth, 'published', REGION],
    coding_rate: [1, 'published', REGION],
    preamble: [8, 'published', REGION],
  };
}

interface Stream {
  readonly about: string;
  readonly delivery: Delivery;
  readonly payload: number;
  readonly payloadOrigin: string;
  readonly rate: number;
  readonly rateOrigin: string;
  readonly current: number;
  readonly supply: number;
}

function stream(given: Stream): LinkRow {
  return {
    about: given.about,
    delivery: given.delivery,
    listening: 'frames',
    figures: {
      payload: [given.payload, 'from memory', given.payloadOrigin],
      fragment_header: [0, 'common practice', 'counted in the rate'],
      rate: [given.rate, 'from memory', given.rateOrigin],
      frame_overhead: [0, 'common practice', 'counted in the rate'],
      duty_cycle: [1, 'common practice', 'no limit on the time on air'],
      redundancy: [0, 'common practice', 'lost frames are sent again'],
      loss: [0, 'common practice', 'counted in the rate'],
      receive_current: [given.current, 'from memory', CURRENTS],
      supply: [given.supply, 'from memory', CURRENTS],
    },
  };
}

const IP = {
  payload: 1280,
  payloadOrigin: 'smallest packet that every IPv6 link carries (RFC 8200 section 5)',
};

/** The links that are known by name. */
export const LINKS: Readonly<Record<string, LinkRow>> = {
  'lorawan-eu-dr0': lorawan('DR0', 51, chirp(12)),
  'lorawan-eu-dr1': lorawan('DR1', 51, chirp(11)),
  'lorawan-eu-dr2': lorawan('DR2', 51, chirp(10)),
  'lorawan-eu-dr3': lorawan('DR3', 115, chirp(9)),
  'lorawan-eu-dr4': lorawan('DR4', 222, chirp(8)),
  'lorawan-eu-dr5': lorawan('DR5', 222, chirp(7)),
  'lorawan-eu-dr6': lorawan('DR6', 222, chirp(7, 250_000)),
  'lorawan-eu-dr7': lorawan('DR7', 222, { rate: [50_000, 'published', REGION] }),
  'nb-iot': stream({
    about: 'NB-IoT, unit by unit through the operator',
    delivery: 'side-by-side',
    ...IP,
    rate: 20_000,
    rateOrigin: 'below the peak of 26 kbit/s down; far less at the cell edge',
    current: 60,
    supply: 3.6,
  }),
  'lte-m': stream({
    about: 'LTE-M, unit by unit through the operator',
    delivery: 'side-by-side',
    ...IP,
    rate: 300_000,
    rateOrigin: 'peaks of 0.3 to 1 Mbit/s',
    current: 100,
    supply: 3.6,
  }),
  'lte-cat-1': stream({
    about: 'LTE Cat-1, unit by unit through the operator',
    delivery: 'side-by-side',
    ...IP,
    rate: 5_000_000,
    rateOrigin: 'half of the peak of 10 Mbit/s',
    current: 200,
    supply: 3.8,
  }),
  'bluetooth-le': stream({
    about: 'Bluetooth LE, one connection after the other',
    delivery: 'one-by-one',
    payload: 244,
    payloadOrigin: '251-byte link PDU; 20 with the default ATT size',
    rate: 200_000,
    rateOrigin: '0.1 to 0.7 Mbit/s in practice',
    current: 6,
    supply: 3,
  }),
  'ieee-802.15.4': stream({
    about: 'IEEE 802.15.4 mesh, one unit after the other',
    delivery: 'one-by-one',
    payload: 80,
    payloadOrigin: '60 to 100 bytes of a 127-byte frame after security and 6LoWPAN',
    rate: 40_000,
    rateOrigin: '250 kbit/s raw, 10 to 50 over several hops',
    current: 6,
    supply: 3,
  }),
  'wi-fi': stream({
    about: 'Wi-Fi on a microcontroller',
    delivery: 'side-by-side',
    ...IP,
    rate: 1_000_000,
    rateOrigin: '1 to 20 Mbit/s in practice',
    current: 60,
    supply: 3.3,
  }),
};

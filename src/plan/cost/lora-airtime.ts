/** What the time on air of a chirp modem depends on, beside the bytes. Explicit header. */
export interface Modem {
  /** 7 to 12. */
  readonly spreadingFactor: number;
  /** Hz. */
  readonly bandwidth: number;
  /** n of the code rate 4/(4+n). */
  readonly codingRate: number;
  /** Symbols before the header; the modem adds 4.25. */
  readonly preamble: number;
  /** Whether a CRC follows the bytes. LoRaWAN downlinks have none; default true, which is never shorter. */
  readonly crc?: boolean;
}

/** Above this time of a symbol, in seconds, low data rate optimisation is mandatory. */
const LONG_SYMBOL = 0.016;

/**
 * Seconds on air of one frame of `bytes` physical bytes. Source: LoRa modem designer's guide (AN1200.13) section 4, and the
 * data sheets of the SX127x modems, section "time on air".
 */
export function loraAirtime(
  bytes: number,
  { spreadingFactor: sf, bandwidth, codingRate, preamble, crc = true }: Modem,
): number {
  const symbol = 2 ** sf / bandwidth;
  const optimised = symbol > LONG_SYMBOL ? 1 : 0;
  const bits = 8 * bytes - 4 * sf + 28 + (crc ? 16 : 0);
  const blocks = Math.max(0, Math.ceil(bits / (4 * (sf - 2 * optimised))));
  const symbols = preamble + 4.25 + 8 + blocks * (codingRate + 4);
  return symbols * symbol;
}

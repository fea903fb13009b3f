import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { loraAirtime } from '../../src/plan/index.ts';

const at = (spreadingFactor: number, bandwidth = 125_000) => ({
  spreadingFactor,
  bandwidth,
  codingRate: 1,
  preamble: 8,
});
const milliseconds = (seconds: number) => Math.round(seconds * 1e6) / 1e3;

describe('LoRa time on air, designer’s guide AN1200.13 section 4', () => {
  test('published worksheet of the guide’s formulas: 13 bytes at SF9, 125 kHz, CRC on take 164.864 ms', () => {
    expect(milliseconds(loraAirtime(13, at(9)))).toBe(164.864);
  });

  test('published example of the lora-modulation crate: 12 bytes at SF9, 125 kHz take 144.384 ms', () => {
    expect(milliseconds(loraAirtime(12, at(9)))).toBe(144.384);
  });

  test.each([
    [12, 51, 2.79],
    [9, 115, 0.68],
    [7, 222, 0.37],
  ])('a LoRaWAN frame at SF%i of %i bytes and 13 of overhead takes %f s', (sf, payload, seconds) => {
    expect(loraAirtime(payload + 13, at(sf))).toBeCloseTo(seconds, 2);
  });

  test('low data rate optimisation begins above 16 ms a symbol: SF11 at 125 kHz, not at 250 kHz', () => {
    // Per block SF - 2 bits instead of SF: 36 instead of 44 bits of the formula's denominator.
    expect(loraAirtime(64, at(11))).toBeGreaterThan(2 * loraAirtime(64, at(11, 250_000)));
    expect(loraAirtime(64, at(10))).toBeCloseTo(2 * loraAirtime(64, at(10, 250_000)), 12);
  });

  test('never shorter for more bytes, and a CRC never makes it shorter', () => {
    fc.assert(
      fc.property(fc.integer({ min: 7, max: 12 }), fc.integer({ min: 0, max: 250 }), (sf, bytes) => {
        const modem = at(sf);
        expect(loraAirtime(bytes + 1, modem)).toBeGreaterThanOrEqual(loraAirtime(bytes, modem));
        expect(loraAirtime(bytes, modem)).toBeGreaterThanOrEqual(
          loraAirtime(bytes, { ...modem, crc: false }),
        );
      }),
    );
  });
});

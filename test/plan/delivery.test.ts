import { describe, expect, test } from 'vitest';
import { type Sending, sendingOf } from '../../src/plan/cost/delivery.ts';
import { effortOf } from '../../src/plan/cost/energy.ts';
import { figureBook, figuresFromText } from '../../src/plan/figures/book.ts';

const KIB = 1024;
const HOUR = 3600;
const book = figureBook({});

/** Over a link, with figures of its own in YAML. */
async function over(name: string, bytes: number, units = 1, yaml = ''): Promise<Sending> {
  const text = `format: fieldseal.figures/1\nlinks:\n  own:\n    like: ${name}\n${yaml}`;
  const own = figureBook(await figuresFromText(text, 'figures.yaml'));
  return sendingOf(own.link('own'), bytes, units);
}

const LOSSLESS = '    loss: 0\n';

describe('broadcast time = ceil(S(1+r)/P) x airtime / duty', () => {
  test.each([
    ['lorawan-eu-dr0', 100, 2347, 2.79, 1.82, 18.2],
    ['lorawan-eu-dr3', 100, 1006, 0.68, 0.19, 1.9],
    ['lorawan-eu-dr5', 100, 515, 0.37, 0.05, 0.5],
    ['lorawan-eu-dr0', 256, 6008, 2.79, 4.66, 47],
  ])(
    '%s: %i KiB with a tenth of redundancy are %i frames of %f s, %f h of air, %f h at a tenth of duty',
    async (name, kib, frames, airtime, air, complete) => {
      const sending = await over(name, kib * KIB, 1, LOSSLESS);
      expect(sending.frames).toBe(frames);
      expect(sending.frameTime).toBeCloseTo(airtime, 2);
      expect(sending.airTime / HOUR).toBeCloseTo(air, 2);
      expect(Math.abs(sending.timeToComplete / HOUR - complete)).toBeLessThan(0.5);
    },
  );

  test('a 1104-byte envelope is 23 frames at DR0, 64 s of air, 11 min at 10 % duty, without redundancy', async () => {
    const sending = await over('lorawan-eu-dr0', 1104, 1, `${LOSSLESS}    redundancy: 0\n`);
    expect(sending.frames).toBe(23);
    expect(sending.airTime).toBeCloseTo(64.25, 1);
    expect(sending.timeToComplete / 60).toBeCloseTo(10.7, 1);
  });

  test('sent once for all: more units cost nothing but their repair', async () => {
    const one = await over('lorawan-eu-dr3', 100 * KIB, 1);
    const many = await over('lorawan-eu-dr3', 100 * KIB, 10_000);
    expect(many.frames).toBe(one.frames);
    expect(many.repairFrames).toBeCloseTo(one.repairFrames * 10_000, 9);
    const bare = await over('lorawan-eu-dr3', 100 * KIB, 1000, '    redundancy: 0\n    loss: 0.01\n');
    // Every unit lacks 1 % of 915 frames on average, and resent ones are lost again.
    expect(bare.repairFrames).toBeCloseTo((1000 * 915 * 0.01) / 0.99, 6);
    expect(bare.airTime).toBeCloseTo((915 + bare.repairFrames) * bare.frameTime, 6);
    expect(bare.chance).toBeCloseTo(bare.chanceWithoutRedundancy, 9);
  });
});

describe('unit by unit', () => {
  test('side by side the time does not grow with the units, one by one it does', async () => {
    const side = await over('nb-iot', 100 * KIB, 50);
    expect(side.timeToComplete).toBeCloseTo((100 * KIB * 8) / 20_000, 9);
    expect(side.bytesPaid).toBe(100 * KIB * 50);
    const mesh = await over('ieee-802.15.4', 100 * KIB, 50);
    expect(mesh.timeToComplete).toBeCloseTo((50 * 100 * KIB * 8) / 40_000, 9);
  });

  test('what is lost is sent again', async () => {
    const lossy = await over('nb-iot', 128_000, 1, '    loss: 0.2\n');
    expect(lossy.repairFrames).toBeCloseTo(100 / 0.8 - 100, 9);
    expect(lossy.chance).toBeCloseTo(0.8 ** 100, 12);
  });
});

describe('energy of receiving 100 KiB', () => {
  const work = {
    programmed: 100 * KIB,
    pages: 25,
    writeUnit: 4,
    hashed: 100 * KIB,
    decrypted: 0,
    verifications: 0,
    verifyFigure: undefined,
  };

  test.each([
    ['lorawan-eu-dr0', 36, 360],
    ['lorawan-eu-dr3', 3.7, 37],
    ['nb-iot', 2.5, 2.5],
    ['lte-m', 0.3, 0.3],
    ['ieee-802.15.4', 0.1, 0.1],
    ['wi-fi', 0.04, 0.04],
    ['bluetooth-le', 0.02, 0.02],
  ])(
    '%s: %f mWh while frames arrive, %f mWh with the receiver as it listens',
    async (name, frames, listening) => {
      const sending = await over(name, 100 * KIB, 1, LOSSLESS);
      const effort = effortOf(book.link(name), sending, work, book.unit());
      expect(Math.abs(effort.receiveFramesOnly / frames - 1)).toBeLessThan(0.15);
      expect(Math.abs(effort.receive / listening - 1)).toBeLessThan(0.15);
    },
  );

  test('programming 100 KiB at 4 KiB / 85 ms and 41 us a word takes 3.2 s and 0.02 mWh', async () => {
    const sending = await over('nb-iot', 100 * KIB);
    const effort = effortOf(book.link('nb-iot'), sending, work, book.unit());
    expect(effort.flashTime).toBeCloseTo(3.2, 1);
    expect(effort.flash).toBeCloseTo(0.02, 2);
    // 100 KiB at 477 KB/s, the rate of a Cortex-M0+.
    expect(effort.verifyTime).toBeCloseTo(0.21, 2);
  });

  test('minimum battery: receive, flash, verify and one retry, in whole mWh, never rounded down', async () => {
    const sending = await over('nb-iot', 100 * KIB);
    const signed = { ...work, verifications: 6, verifyFigure: 'esp256_verify' } as const;
    const effort = effortOf(book.link('nb-iot'), sending, signed, book.unit());
    expect(effort.verifyTime).toBeCloseTo(0.215 + 6 * 0.594, 2);
    expect(effort.once).toBeCloseTo(effort.receive + effort.flash + effort.verify, 12);
    expect(effort.minimumBattery).toBe(Math.ceil(2 * effort.once));
  });
});

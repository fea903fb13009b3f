/** One check of a genuine ESP256 release on the emulated core: what the kit adds to the crypto that it calls. */
import { describe, expect, it } from 'vitest';
import { countInstructions } from '../../scripts/device/instructions.ts';
import { check, flashOf, powerOn } from '../../scripts/device/unit-cases.ts';
import { classRecord } from '../../scripts/device/unit-record.ts';
import { power } from '../../scripts/fuzz/payloads/power.ts';
import { makeRigs } from '../../scripts/fuzz/payloads/rigs.ts';
import { memoryStore } from '../../src/unit/index.ts';
import { toolchainPresent } from './toolchain.ts';

/** Instructions of a check, as a share of those of its crypto calls. */
const MOST = 1.05;

describe.skipIf(!toolchainPresent)('instructions on a Cortex-M3', () => {
  it(`a check takes at most ${MOST} times those of its crypto calls`, async () => {
    const rig = (await makeRigs()).find(({ name }) => name === 'esp256, remapped')!;
    const { record } = rig;
    const unit = { record, macKeys: new Map<string, Uint8Array>(), marksKey: new Uint8Array(32).fill(0x77) };
    const { flash } = power(record, memoryStore(rig.kept.length, rig.kept), {});
    const before = [classRecord(unit), flashOf(flash.read(0, flash.size)), powerOn(true, 0)];
    const idle = countInstructions(before);
    const { envelope } = rig.offers[0]!;
    const checked = countInstructions([...before, check({ envelope })]);
    const [kit, crypto] = [checked.kit - idle.kit, checked.crypto - idle.crypto];
    console.log(
      `one check of an ESP256 release: ${kit} instructions in the kit, ${crypto} in its crypto calls`,
    );
    expect(crypto).toBeGreaterThan(20_000_000);
    expect((kit + crypto) / crypto).toBeLessThanOrEqual(MOST);
  });
});

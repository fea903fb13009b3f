/** One check of a genuine release on the emulated core, with P-256 above its signer: what the kit adds to the crypto that it calls. */
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
  it.each(['esp256', 'hss-lms'])(
    `a check of %s takes at most ${MOST} times those of its crypto calls`,
    async (algorithm) => {
      const rig = (await makeRigs()).find(({ name }) => name === `${algorithm}, remapped`)!;
      const { record } = rig;
      const unit = {
        record,
        macKeys: new Map<string, Uint8Array>(),
        marksKey: new Uint8Array(32).fill(0x77),
      };
      const { flash } = power(record, memoryStore(rig.kept.length, rig.kept), {});
      const before = [classRecord(unit), flashOf(flash.read(0, flash.size)), powerOn(true, 0)];
      const idle = countInstructions(before);
      const { envelope } = rig.offers[0]!;
      const checked = countInstructions([...before, check({ envelope })]);
      const [kit, crypto] = [checked.kit - idle.kit, checked.crypto - idle.crypto];
      console.log(
        `one check of a release, ${algorithm}: ${kit} instructions in the kit, ${crypto} in its crypto calls`,
      );
      expect(crypto).toBeGreaterThan(20_000_000);
      expect((kit + crypto) / crypto).toBeLessThanOrEqual(MOST);
    },
  );
});

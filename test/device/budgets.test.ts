/**
 * What the device kit takes on a Cortex-M3 with -Os, without crypto and ports. 1.5 KiB hold the caller's fs_device, static data and the
 * deepest stack. The other aim, 6 KiB of code, is not met (docs/device-kit.md says where it goes); its bound keeps it from growing unseen.
 */
import { describe, expect, it } from 'vitest';
import { measure } from '../../scripts/device/budgets.ts';
import { toolchainPresent } from './toolchain.ts';

const BOUNDS = { code: 29_200, staticData: 0, device: 384, stack: 1_152 };
const CALLS = [
  'fs_open',
  'fs_begin_life',
  'fs_check',
  'fs_check_marks',
  'fs_install',
  'fs_start',
  'fs_keep',
  'fs_raise_floors',
];

describe.skipIf(!toolchainPresent)('budgets of the kit (needs the device toolchain)', () => {
  it('are kept, and printed', () => {
    const { code, staticData, device, stack } = measure(CALLS);
    const rows = [
      ['code and constants', code, BOUNDS.code],
      ['static data', staticData, BOUNDS.staticData],
      ['fs_device', device, BOUNDS.device],
      ...CALLS.map((call) => [`stack of ${call}`, stack[call]!, BOUNDS.stack] as const),
    ] as const;
    for (const [what, bytes, bound] of rows) console.log(`${what}: ${bytes} bytes of ${bound}`);
    expect(rows.filter(([, bytes, bound]) => bytes > bound)).toEqual([]);
    expect(code).toBeGreaterThan(10_000);
    expect(Object.values(stack).every((bytes) => bytes > 100)).toBe(true);
  });
});

/** The attestation rules of a unit record and of a class: what they may say (docs/attestation.md). */
import { describe, expect, test } from 'vitest';
import { defaultMemoryMap } from '../../src/image/index.ts';
import {
  attestationProblems,
  readUnitRecord,
  type SelfCheckRules,
  UnitRecordError,
} from '../../src/unit/index.ts';
import { exampleRecord } from './records.ts';

const CHECK: SelfCheckRules = { method: 'blocks', slice_bytes: 4096, every_seconds: 60, reaction: 'report' };
const read = (attestation: unknown) =>
  readUnitRecord(JSON.parse(JSON.stringify({ ...exampleRecord(), attestation })));
const refused = (attestation: unknown) => {
  try {
    read(attestation);
  } catch (error) {
    if (error instanceof UnitRecordError) return error.path.join('.');
    throw error;
  }
  return 'read';
};

describe('attestation rules', () => {
  test('are read as they were written; without them a record reads as before', () => {
    const rules = { regions: ['A', 'B'], self_check: CHECK };
    expect(read(rules).attestation).toEqual(rules);
    expect(readUnitRecord(exampleRecord()).attestation).toBeUndefined();
  });

  test.each([
    ['an area that there is not', { regions: ['A', 'C'] }, 'attestation.regions.1'],
    ['a recovery image that there is not', { regions: ['recovery'] }, 'attestation.regions.0'],
    ['no area at all', { regions: [] }, 'attestation.regions'],
    [
      'a slice too small to be worth a tick',
      { self_check: { ...CHECK, slice_bytes: 63 } },
      'attestation.self_check.slice_bytes',
    ],
    [
      'a slice too large for one tick',
      { self_check: { ...CHECK, slice_bytes: 2 ** 21 } },
      'attestation.self_check.slice_bytes',
    ],
    [
      'no time between ticks',
      { self_check: { ...CHECK, every_seconds: 0 } },
      'attestation.self_check.every_seconds',
    ],
    [
      'a method that nobody knows',
      { self_check: { ...CHECK, method: 'crc' } },
      'attestation.self_check.method',
    ],
    [
      'a reaction that nobody knows',
      { self_check: { ...CHECK, reaction: 'erase' } },
      'attestation.self_check.reaction',
    ],
    ['something else', { interval: 3 }, 'attestation.interval'],
  ])('%s', (_, rules, path) => {
    expect(refused(rules)).toBe(path);
  });

  test('a staging area is no code, so it cannot be named; the recovery image of a staged class can', () => {
    const memory = defaultMemoryMap({ core: 'cortex-m', shape: 'staged' });
    expect(attestationProblems({ regions: ['run', 'recovery'] }, memory)).toEqual([]);
    expect(attestationProblems({ regions: ['staging'] }, memory)).toHaveLength(1);
  });

  test('protected memory is bounded: blocks of 64 bytes do not go with a slot of 1 MiB, slices do', () => {
    const memory = defaultMemoryMap({ core: 'cortex-m', slotSize: 2 ** 20 });
    const small = { ...CHECK, slice_bytes: 64 };
    expect(attestationProblems({ self_check: small }, memory)[0]?.says).toContain('16384 blocks');
    expect(attestationProblems({ self_check: { ...small, method: 'whole' } }, memory)).toEqual([]);
  });
});

import { describe, expect, test } from 'vitest';
import { type Comparison, formatVersion, parseVersion, versionMatches } from '../../src/suit/index.ts';

describe('draft-ietf-suit-update-management-14 4.4.1: versions as integers', () => {
  test.each([
    ['1.2.3', [1, 2, 3]],
    ['1.2-rc.3', [1, 2, -1, 3]],
    ['1.2-beta', [1, 2, -2]],
    ['1.2-alpha', [1, 2, -3]],
    ['1.2.3-alpha.4', [1, 2, 3, -3, 4]],
  ])('the example %s of the draft, and back', (text, numbers) => {
    expect(parseVersion(text)).toEqual(numbers);
    expect(formatVersion(numbers)).toBe(text);
  });

  test('another numbering scheme keeps its numbers: the example 2025.12.6 of the draft', () => {
    expect(parseVersion('2025.12.6')).toEqual([2025, 12, 6]);
  });

  test('3.1: build metadata is left out', () => {
    expect(parseVersion('1.4.0+build.7')).toEqual([1, 4, 0]);
    expect(parseVersion('1.4.0-rc.1+7')).toEqual([1, 4, 0, -1, 1]);
  });

  test.each([
    '',
    'v1.0',
    '1.',
    '.1',
    '1..2',
    '01.2',
    '1.2-dev',
    '1.2-rc1',
    '1.2-rc.x',
    '1.2-RC.1',
    '-rc.1',
    '1.0 ',
  ])('3.1: %j cannot be represented faithfully, so there is none', (text) => {
    expect(parseVersion(text)).toBeUndefined();
  });
});

describe('draft-ietf-suit-update-management-14 4.4: comparison', () => {
  const matches = (device: number[], comparison: Comparison, version: number[]): boolean =>
    versionMatches({ comparison, version }, device);

  test('"= [1]" matches every version that begins with 1', () => {
    expect(matches([1, 5, 9], '=', [1])).toBe(true);
    expect(matches([2], '=', [1])).toBe(false);
  });

  test('">= [1,0]" and "< [1,10]" match 1.0.x up to but not including 1.10', () => {
    const both = (device: number[]): boolean =>
      matches(device, '>=', [1, 0]) && matches(device, '<', [1, 10]);
    expect(
      [
        [1, 0, 0],
        [1, 9, 99],
        [1, 10, 0],
        [0, 9],
      ].map(both),
    ).toEqual([true, true, false, false]);
  });

  test('2.0-rc.1 is lower than 2.0.0 and higher than any 1.x', () => {
    expect(matches([2, 0, -1, 1], '<', [2, 0, 0])).toBe(true);
    expect(matches([2, 0, -1, 1], '>', [1, 99])).toBe(true);
    expect(matches([2, 0, -2], '<', [2, 0, -1])).toBe(true);
    expect(matches([2, 0, -3], '<', [2, 0, -2])).toBe(true);
  });

  test('operators at equality, with a shorter device version read as padded by 0 (our reading)', () => {
    const operators: Comparison[] = ['>', '>=', '=', '<=', '<'];
    expect(operators.map((operator) => matches([1, 2], operator, [1, 2, 0]))).toEqual([
      false,
      true,
      true,
      true,
      false,
    ]);
    expect(operators.map((operator) => matches([1, 2], operator, [1, 2, 1]))).toEqual([
      false,
      false,
      false,
      true,
      true,
    ]);
  });
});

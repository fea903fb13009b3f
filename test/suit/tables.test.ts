import { describe, expect, test } from 'vitest';
import {
  COMMANDS,
  COMMON_KEYS,
  COMPONENT_TEXT_KEYS,
  DIGEST_ALGORITHMS,
  ENVELOPE_KEYS,
  MANIFEST_KEYS,
  PARAMETERS,
  type Row,
  TEXT_KEYS,
  WAIT_EVENTS,
} from '../../src/suit/index.ts';

const runs = (table: ReadonlyMap<number, Row>): number[] =>
  [...table.values()].filter((row) => row.support === 'runs').map((row) => row.code);

describe('[M] 8.5, conformance: what a processor must and may run', () => {
  test('every condition of the base draft runs', () => {
    expect(runs(COMMANDS)).toEqual(expect.arrayContaining([1, 2, 3, 5, 6, 14, 24]));
  });

  test('every directive of the base draft but swap runs', () => {
    expect(runs(COMMANDS)).toEqual(expect.arrayContaining([12, 15, 18, 20, 21, 22, 23, 32]));
    expect(COMMANDS.get(31)!.support).toBe('named');
  });

  test('every parameter of the base draft but fetch arguments runs', () => {
    expect(runs(PARAMETERS)).toEqual(expect.arrayContaining([1, 2, 3, 5, 12, 13, 14, 18, 21, 22, 23, 24]));
  });

  test('section 10: SHA-256 runs, the four optional algorithms are known', () => {
    expect(runs(DIGEST_ALGORITHMS)).toEqual([-16]);
    expect([...DIGEST_ALGORITHMS.keys()]).toEqual([-16, -18, -43, -44, -45]);
  });
});

describe('the tables', () => {
  const tables = [
    COMMANDS,
    COMMON_KEYS,
    COMPONENT_TEXT_KEYS,
    DIGEST_ALGORITHMS,
    ENVELOPE_KEYS,
    MANIFEST_KEYS,
    PARAMETERS,
    TEXT_KEYS,
    WAIT_EVENTS,
  ];

  test('every row names its document and section', () => {
    for (const row of tables.flatMap((table) => [...table.values()])) {
      expect(row.source).toMatch(/^\[(M|UM|TD|FE)\] [0-9]/);
    }
  });

  test('what a command needs is a parameter that runs wherever the command does', () => {
    for (const { needs, support } of COMMANDS.values()) {
      for (const code of needs) expect(['runs', support]).toContain(PARAMETERS.get(code)?.support);
    }
  });

  test('Appendix A and [TD] 8.1: the shared sequence takes conditions and codes 12, 15, 19, 20, 32', () => {
    const directives = [...COMMANDS.values()].filter((row) => row.kind === 'directive' && row.inShared);
    expect(directives.map((row) => row.code)).toEqual([12, 15, 19, 20, 32]);
    expect([...COMMANDS.values()].every((row) => row.kind === 'directive' || row.inShared)).toBe(true);
  });

  test('8.6: an element severable in the manifest has its place in the envelope under the same key and name', () => {
    for (const row of MANIFEST_KEYS.values()) {
      if (row.severable) expect(ENVELOPE_KEYS.get(row.code)?.name).toBe(row.name);
    }
  });
});

import { describe, expect, it } from 'vitest';
import type { ThreatName } from '../../src/rehearsal/forgeries/threats.ts';
import { FORGERIES, rehearse, THREATS, type Threat } from '../../src/rehearsal/index.ts';
import { SUBJECTS } from './subjects.ts';

describe('the table of forgeries', () => {
  it('has a name of its own for every row, and at least eighty rows', () => {
    const names = FORGERIES.map(({ name }) => name);
    expect(new Set(names).size).toBe(names.length);
    expect(names.length).toBeGreaterThanOrEqual(80);
  });
});

describe('the threats of RFC 9124 section 4.2', () => {
  it('are eighteen, each embodied by a forgery or said to be outside', () => {
    expect(THREATS.length).toBe(18);
    const embodied = new Set(FORGERIES.map(({ threat }) => threat));
    const left = THREATS.filter(({ name, outside }: Threat) => !embodied.has(name as ThreatName) && !outside);
    expect(left).toEqual([]);
  });
});

describe('every forgery that applies is refused at its step, with its refusal, by', () => {
  it.each(SUBJECTS)('$name', async ({ make }) => {
    const rehearsal = await rehearse(await make());
    expect(rehearsal.kind).toBe('carried out');
    if (rehearsal.kind !== 'carried out') return;
    const failed = rehearsal.rows.filter(({ outcome }) => outcome === 'failed');
    expect(failed.map(({ row, because }) => `${row.name}: ${because}`)).toEqual([]);
    expect(rehearsal.rows.filter(({ outcome }) => outcome === 'passed').length).toBeGreaterThan(80);
  });
});

import { describe, expect, it } from 'vitest';
import { FORGERIES, rehearse } from '../../src/rehearsal/index.ts';
import { SUBJECTS } from './subjects.ts';

describe('the table of forgeries', () => {
  it('has a name of its own for every row, and at least eighty rows', () => {
    const names = FORGERIES.map(({ name }) => name);
    expect(new Set(names).size).toBe(names.length);
    expect(names.length).toBeGreaterThanOrEqual(80);
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

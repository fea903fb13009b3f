import { describe, expect, it } from 'vitest';
import { REFUSALS, STEPS, Trace } from '../../src/unit/index.ts';

describe('the twelve steps', () => {
  it('stand in the order in which a unit judges them', () => {
    expect(STEPS.map(({ name }) => name)).toEqual([
      'envelope',
      'signer',
      'authentication',
      'manifest',
      'freshness',
      'identity',
      'fit',
      'content',
      'image',
      'commit',
      'start',
      'keep',
    ]);
    expect(STEPS.map(({ number }) => number)).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]);
  });

  it('steps 1 to 7 leave flash untouched', () => {
    for (const step of STEPS.slice(0, 7)) expect(step.leaves).toBe('flash untouched');
  });
});

describe('the table of refusals', () => {
  it('each code belongs to exactly one step, and every step can refuse', () => {
    const codes = REFUSALS.map(({ code }) => code);
    expect(new Set(codes).size).toBe(codes.length);
    for (const { name } of STEPS) expect(REFUSALS.some(({ step }) => step === name)).toBe(true);
  });

  it('the rows stand in the order of the steps', () => {
    const numbers = REFUSALS.map(({ step }) => STEPS.findIndex(({ name }) => name === step));
    expect(numbers).toEqual([...numbers].sort((a, b) => a - b));
  });

  it('each row says what happened, what it means, what to do next, and who asks for it', () => {
    for (const { code, says, meaning, next, source } of REFUSALS) {
      expect(code).toMatch(/^[a-z]+(?:-[a-z]+)*$/);
      expect(says, code).toMatch(/^[a-z].*[^.]$/);
      expect(meaning, code).toMatch(/^[A-Z].*\.$/);
      expect(next, code).toMatch(/^[A-Z].*\.$/);
      expect(source, code).toMatch(/draft-ietf-suit-[a-z-]+ \d|RFC \d+|docs\/deployment-profile\.md/);
    }
  });
});

describe('a trace', () => {
  const source = 'a clause';

  it('a step passes when the next one is entered, and the ones behind a refusal are not reached', () => {
    const trace = new Trace(['envelope', 'signer', 'authentication']);
    trace.enter('envelope');
    trace.holds({ what: 'size', source });
    trace.enter('signer');
    expect(() => trace.refuse('signer-denied', { what: 'key', source })).toThrow('signer-denied');
    expect(trace.steps.map(({ outcome }) => outcome)).toEqual(['passed', 'refused', 'not reached']);
  });

  it('a refusal is only ever raised at the step it belongs to', () => {
    const trace = new Trace(['envelope', 'signer']);
    trace.enter('envelope');
    expect(() => trace.refuse('signer-denied', { what: 'key', source })).toThrow(TypeError);
  });
});

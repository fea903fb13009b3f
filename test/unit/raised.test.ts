import { readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { REFUSALS, type StepName } from '../../src/unit/index.ts';
import { AUTHENTICATION_CASES, ENVELOPE_CASES, SIGNER_CASES } from './cases/authentic.ts';
import type { Case } from './cases/case.ts';
import { CONTENT_CASES, IMAGE_CASES, START_CASES } from './cases/content.ts';
import { DELTA_CASES } from './cases/delta.ts';
import { DEPENDENCY_CASES } from './cases/dependencies.ts';
import { ENCRYPTION_CASES } from './cases/encryption.ts';
import { FIT_CASES, FRESHNESS_CASES, IDENTITY_CASES, MANIFEST_CASES } from './cases/manifest.ts';
import { TRUST_CASES } from './cases/trust.ts';

const CASES: readonly Case[] = [
  ...ENVELOPE_CASES,
  ...SIGNER_CASES,
  ...AUTHENTICATION_CASES,
  ...MANIFEST_CASES,
  ...DEPENDENCY_CASES,
  ...FRESHNESS_CASES,
  ...IDENTITY_CASES,
  ...FIT_CASES,
  ...CONTENT_CASES,
  ...ENCRYPTION_CASES,
  ...DELTA_CASES,
  ...IMAGE_CASES,
  ...START_CASES,
  ...TRUST_CASES,
];

describe.each(CASES.map((each) => [each.code, each] as const))('%s', (code, { title, verdict }) => {
  it(title, async () => {
    const { verdict: answer, refusal, steps } = await verdict();
    expect(refusal?.code).toBe(code);
    expect(answer).toBe('refused');
    const refused = steps.find(({ outcome }) => outcome === 'refused')!;
    expect(refused.step).toBe(refusal!.step);
    expect(refused.comparisons.at(-1)).toMatchObject({ ok: false, source: expect.any(String) });
    for (const step of steps.filter(({ number }) => number > refused.number)) {
      expect(step.outcome).toBe('not reached');
    }
  });
});

describe('the table of refusals is heard in full', () => {
  const heard = new Set<string>(CASES.map(({ code }) => code));
  /** What only a unit with flash can say is heard in the tests of its life. */
  const ofLife: readonly StepName[] = ['content', 'commit', 'start', 'keep'];
  const lifeTests = new URL('../unit-life/', import.meta.url);
  const lifeSource = readdirSync(lifeTests)
    .filter((name) => name.endsWith('.test.ts'))
    .map((name) => readFileSync(fileURLToPath(new URL(name, lifeTests)), 'utf8'))
    .join('\n');

  it.each(REFUSALS.map(({ code, step }) => [code, step] as const))('%s, step %s', (code, step) => {
    const heardInLife = ofLife.includes(step) && lifeSource.includes(`'${code}'`);
    expect(heard.has(code) || heardInLife).toBe(true);
  });
});

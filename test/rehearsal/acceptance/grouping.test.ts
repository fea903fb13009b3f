import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { Grouping } from '../../../src/rehearsal/acceptance/grouping.ts';
import {
  FACT_NAMES,
  type FactName,
  type UnitFacts,
} from '../../../src/rehearsal/acceptance/inventory/facts.ts';
import { answerOf } from '../../../src/rehearsal/acceptance/judge.ts';
import { comparandsOf } from '../../../src/rehearsal/acceptance/payload.ts';
import { withStandInMacs } from '../../../src/rehearsal/acceptance/stand-ins.ts';
import { NOW } from '../../x509/support.ts';
import { anyUnit, CLASSES, PAYLOADS, RUNNING, sourceFor } from './fleet.ts';

const PLACE = { line: 2 };
/** Payloads to which units say no for different reasons. */
const TELLING = [
  'ordinary',
  'of revision B',
  'security version 3',
  'for one unit',
  'of generation 2',
  'by a trial signer',
  'by author alone',
  'for one cohort',
  'by delta',
  'encrypted',
];

const told = ({ verdict, refusal, notJudged }: ReturnType<typeof answerOf>) => ({
  verdict,
  code: refusal?.code,
  step: refusal?.step,
  notJudged,
});

/** What each unit is told when it is grouped with others, and what it is told alone. Units that nobody can judge are left out. */
function compare(name: string, units: readonly UnitFacts[]) {
  const source = sourceFor(name);
  const payload = comparandsOf(source, new Set(RUNNING.keys()));
  const offer = { standIn: withStandInMacs(source), image: undefined, running: RUNNING, now: NOW };
  const together = new Grouping(CLASSES, payload);
  const groups = units.map((facts) => together.add(facts, PLACE));
  const answers = new Map([...together.groups.values()].map((group) => [group, answerOf(group, offer)]));
  return units.flatMap((facts, i) => {
    const alone = new Grouping(CLASSES, payload).add(facts, PLACE);
    expect(Boolean(alone)).toBe(Boolean(groups[i]));
    if (!alone || !groups[i]) return [];
    return [{ facts, grouped: told(answers.get(groups[i])!), single: told(answerOf(alone, offer)) }];
  });
}

describe('grouping by the comparisons of a payload', () => {
  test.each(Object.keys(PAYLOADS))(
    'property, %s: units of one group get the verdict, step and refusal that each gets alone',
    (name) => {
      const { digest } = PAYLOADS[name]!;
      fc.assert(
        fc.property(fc.array(anyUnit(digest), { minLength: 10, maxLength: 24 }), (units) => {
          for (const { grouped, single } of compare(name, units)) expect(grouped).toEqual(single);
        }),
        { numRuns: 8 },
      );
    },
  );

  test('the property reaches acceptance and every refusal that facts of a unit decide', () => {
    const seen = new Set<string>();
    for (const name of TELLING) {
      const units = fc.sample(anyUnit(PAYLOADS[name]!.digest), { numRuns: 450, seed: 1 });
      const source = sourceFor(name);
      const offer = { standIn: withStandInMacs(source), image: undefined, running: RUNNING, now: NOW };
      const grouping = new Grouping(CLASSES, comparandsOf(source, new Set(RUNNING.keys())));
      for (const facts of units) grouping.add(facts, PLACE);
      for (const group of grouping.groups.values()) {
        const { verdict, code } = told(answerOf(group, offer));
        seen.add(code ?? verdict);
      }
    }
    expect([...seen].toSorted()).toEqual(
      expect.arrayContaining([
        'accepted',
        'as far as it can be judged',
        'authentications-too-few',
        'class-wrong',
        'device-wrong',
        'envelope-area-too-small',
        'fell-back-before',
        'image-too-large',
        'mac-key-unknown',
        'marks-lost',
        'precursor-wrong',
        'security-version-below-floor',
        'sequence-number-too-low',
        'sequence-number-used',
        'signer-denied',
        'signer-generation-too-low',
        'signer-is-for-trial',
        'signer-not-anchored',
        'trial-in-progress',
      ]),
    );
  });

  test('property: whatever an inventory says, every unit is in a group or named with what was expected of it', () => {
    const odd = fc.oneof(
      fc.string({ maxLength: 70 }),
      fc.string({ unit: 'binary', maxLength: 20 }),
      fc.bigInt({ min: 0n, max: 1n << 70n }).map(String),
      fc.constantFrom('constructor', '__proto__', '1e5', '0x10', '-1', '٣', '9'.repeat(64)),
    );
    const facts = fc.record(
      Object.fromEntries(FACT_NAMES.map((name) => [name, odd])) as Record<FactName, typeof odd>,
      { requiredKeys: [] },
    );
    const unit = fc.tuple(anyUnit('44'.repeat(32)), facts).map(([sound, more]) => ({ ...sound, ...more }));
    fc.assert(
      fc.property(fc.array(unit, { minLength: 1, maxLength: 20 }), (units) => {
        const grouping = new Grouping(CLASSES, comparandsOf(sourceFor('ordinary')));
        for (const each of units) grouping.add(each, PLACE);
        const counted = [...grouping.groups.values(), ...grouping.unread.values()];
        expect(counted.reduce((sum, each) => sum + each.units, 0)).toBe(units.length);
        for (const { mistake } of grouping.unread.values()) expect(mistake.expected).not.toBe('');
      }),
      { numRuns: 60 },
    );
  });

  test('numbers 7, 8 and 9 against a payload with 12 are one group; 12 and 13 are two more', () => {
    const grouping = new Grouping(CLASSES, { ...comparandsOf(sourceFor('ordinary')), sequenceNumber: 12n });
    const manifest_digest = '44'.repeat(32);
    for (const sequence_number of ['7', '8', '9', '12', '13'])
      grouping.add({ serial: '1', class: 'vent', sequence_number, manifest_digest }, PLACE);
    expect([...grouping.groups.values()].map(({ units }) => units)).toEqual([3, 1, 1]);
    const range = [...grouping.groups.values()][0]!.ranges.get('sequence_number');
    expect(range).toEqual({ low: 7n, high: 9n });
  });

  test('what no comparison of the payload looks at splits no group', () => {
    const grouping = new Grouping(CLASSES, comparandsOf(sourceFor('ordinary')));
    for (let i = 0; i < 500; i++) {
      const facts: UnitFacts = {
        serial: String(i),
        class: 'vent',
        battery_mwh: String(i),
        debug: i % 2 === 0 ? 'open' : 'closed',
        link: `link-${i}`,
        version: '1.4.0',
        slot_size: String(300_000 + i),
        security_version: i % 3 === 0 ? '1' : '2',
      };
      grouping.add(facts, PLACE);
    }
    const [group, ...others] = grouping.groups.values();
    expect(others).toEqual([]);
    expect(group).toMatchObject({ units: 500, debugOpen: 250, serials: ['0', '1', '2', '3', '4'] });
  });
});

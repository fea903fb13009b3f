import fc from 'fast-check';
import type { FleetStore, UnitReport } from '../../src/fleet/store/types.ts';

export const CLASS = 'c0'.repeat(16);
export const DEVICE = 'd0'.repeat(16);
export const OFFERED = 'aa'.repeat(32);
export const OTHER = 'bb'.repeat(32);

/** A broadcast of a release to the whole class. Gives its number. */
export async function offered(store: FleetStore, manifestDigest = OFFERED): Promise<number> {
  const { id } = await store.createBroadcast({
    classId: CLASS,
    release: { manifestDigest, sequence: 7n, version: '1.5.0' },
    plan: {},
    waves: [{ number: 1, name: 'all', reach: { kind: 'share', permille: 1000 } }],
    who: 'test',
  });
  return id;
}

let made = 0;

/** A report of one unit about what it was offered. */
export function aReport(given: Partial<UnitReport> = {}): UnitReport {
  made += 1;
  return {
    classId: CLASS,
    device: DEVICE,
    id: made.toString(16).padStart(64, '0'),
    at: new Date(1_790_000_000_000 + made * 1000),
    age: 1,
    manifestDigest: OFFERED,
    sequence: 7n,
    version: '1.5.0',
    outcome: 'success',
    raw: new Uint8Array([made & 0xff]),
    ...given,
  };
}

const REFUSALS = [
  { step: 'fit', code: 'image-too-large' },
  { step: 'keep', code: 'trial-ran-out' },
];

const anyReport: fc.Arbitrary<UnitReport> = fc
  .record({
    id: fc.stringMatching(/^[0-9a-f]{64}$/),
    age: fc.option(fc.nat(6), { nil: undefined }),
    at: fc.integer({ min: 1, max: 1e12 }).map((ms) => new Date(ms)),
    manifestDigest: fc.constantFrom(OFFERED, OTHER),
    outcome: fc.constantFrom('success', 'pending', 'unfinished', 'failed'),
    refusal: fc.constantFrom(...REFUSALS),
    sequence: fc.bigInt({ min: 1n, max: 2n ** 63n - 1n }),
  })
  .map(({ refusal, ...report }) =>
    aReport({ ...report, refusal: report.outcome === 'failed' ? refusal : undefined }),
  );

/** Reports of one unit, each of its own. */
export const anyReports = fc.uniqueArray(anyReport, { minLength: 1, maxLength: 8, selector: ({ id }) => id });

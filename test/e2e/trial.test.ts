/**
 * A trial of hundreds of units while everything that can go wrong does (scripts/trial): over real HTTP, with real processes that are
 * killed, and Debian's broker. The end is read from flash and books, not from what anybody said.
 */
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { runTrial, type TrialResult } from '../../scripts/trial/trial.ts';
import { brokenPromises, type Evidence } from '../../scripts/trial/verdict.ts';

const present = existsSync('/usr/sbin/mosquitto');
if (!present && process.env.CI === 'true') throw new Error('mosquitto is not installed');
if (!present) console.warn('skipped: mosquitto is not installed');

const UNITS = 200;
/** Far more than it takes: a machine ten times slower keeps it. */
const PATIENCE_MS = 3_600_000;
const folder = mkdtempSync(join(process.env.FIELDSEAL_E2E ?? tmpdir(), 'trial-'));
let result: TrialResult;

beforeAll(async () => {
  if (!present) return;
  const said: string[] = [];
  result = await runTrial({ units: UNITS, seed: 6, workers: 2, folder, tell: (text) => said.push(text) });
  if (result.broken.length > 0) console.error(said.join('\n'));
}, PATIENCE_MS);
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe.skipIf(!present)('a field under every fault', () => {
  it('ends with genuine firmware, with whole books, and with no wave beyond its stop rule', () => {
    expect(result.broken).toEqual([]);
  });

  it('met every fault that it was to meet', () => {
    const { met } = result.figures;
    for (const [fault, times] of Object.entries(met))
      if (!fault.includes('ended by themselves')) expect([fault, times > 0]).toEqual([fault, true]);
    for (const fault of ['lost', 'answer-lost', 'twice', 'late', 'overtaken', 'cut', 'flipped', 'endless'])
      expect(met[fault]).toBeGreaterThan(0);
  });
});

describe.skipIf(!present)('the judge of a trial', () => {
  const judged = (change: Partial<Evidence>) => brokenPromises({ ...result.evidence, ...change });
  const [one, two] = ['00', '11'].map((byte) => byte.repeat(32)) as [string, string];

  it('notices a unit that runs something else, or nothing, or whose file is gone', () => {
    const [first, ...others] = result.evidence.units;
    const told = (unit: object) => judged({ units: [{ ...first!, ...unit }, ...others] }).join('\n');
    expect(told({ runs: undefined })).toContain('no image that was sealed');
    expect(told({ runs: result.evidence.field.releases[2] })).toContain('was to be');
    expect(told({ state: 'on trial' })).toContain('on trial in the end');
    expect(judged({ units: others }).join('\n')).toContain('its file is gone');
  });

  it('notices a unit that is lost from the books, a report that is, and one that does not belong there', () => {
    const { books, acknowledged } = result.evidence;
    const [device] = books.units.keys();
    const units = new Map([...books.units].filter(([each]) => each !== device));
    expect(judged({ books: { ...books, units } }).join('\n')).toContain('lost from the books');
    expect(judged({ acknowledged: new Set([...acknowledged, one]) }).join('\n')).toContain(
      'was acknowledged',
    );
    const reports = new Map([...books.reports, [two, { device: device!, at: new Date(), about: undefined }]]);
    expect(judged({ books: { ...books, reports }, forged: new Set([two]) }).join('\n')).toContain(
      "no unit's",
    );
  });

  it('notices a release that came before its wave, and a bad one outside its pilot', () => {
    const { books, units } = result.evidence;
    const [good, bad] = books.broadcasts as [never, never];
    const early = {
      device: units[0]!.device,
      at: new Date(0),
      about: (good as { release: { manifestDigest: string } }).release.manifestDigest,
    };
    expect(
      judged({ books: { ...books, reports: new Map([...books.reports, [one, early]]) } }).join('\n'),
    ).toContain('its own, was open');
    const outside = units.find(({ device }) => books.units.get(device)?.wave?.number === 3)!;
    const met = new Set([(bad as { release: { manifestDigest: string } }).release.manifestDigest]);
    const changed = units.map((unit) => (unit === outside ? { ...unit, met } : unit));
    expect(judged({ units: changed }).join('\n')).toContain('met the bad release');
    expect(
      judged({
        books: { ...books, broadcasts: [good, { ...(bad as object), state: 'running' } as never] },
      }).join('\n'),
    ).toContain('was to be stopped');
  });
});

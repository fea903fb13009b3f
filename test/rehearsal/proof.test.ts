/**
 * The table of forgeries is itself put to the test: in a build for this test alone each check of the unit is made to pass in
 * turn, and at least one forgery must then be accepted or fall elsewhere. Nor may a check, or a refusal of the closed list, be
 * one that no forgery reaches.
 */
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { Lab } from '../../src/rehearsal/forgeries/lab.ts';
import type { Forgery } from '../../src/rehearsal/index.ts';
import { buildLetPass, type CheckSite, type LetPass } from './let-pass.ts';

type Entry = typeof import('./proof-entry.ts');

/** Checks that no payload and no flash can bring to say no, and why. By file, and how the source goes from there. */
const OUT_OF_REACH: readonly (readonly [file: string, says: string, why: string])[] = [
  [
    'manifest.ts',
    'trace.refuse(MANIFEST_CODES',
    'the first of two: for processors other than ours, which no unit asks',
  ],
  ['path.ts', 'chain-empty', 'a chain header without a certificate is none: step 1 refuses the block'],
  ['path.ts', 'chain-too-long', 'the unit bounds the chain before its path is looked for'],
  [
    'signer.ts',
    'if (denied)',
    'the unit looks for every key of the path in its deny list, before the rights',
  ],
  ['install-on-paper.ts', 'if (!role)', 'step 7 has refused components that the unit does not have'],
  ['life-board.ts', 'mark.envelopeLength <= part.size', 'marks bear a MAC by a key that only the unit has'],
];

type Place = readonly [file: string, says: string];

/** Checks behind which others say no with the same refusal: only where all of them pass does the forgery get through. */
const STANDS_TWICE: readonly { readonly check: Place; readonly behind: readonly Place[] }[] = [
  { check: ['chain.ts', 'certificates.length <='], behind: [['path.ts', 'chain-too-long']] },
  { check: ['path.ts', 'purpose-not-allowed'], behind: [['signer.ts', 'if (purpose)']] },
  { check: ['fit-start.ts', 'if (code !== INVOKE)'], behind: [['fit-start.ts', 'outcome.ok && whole']] },
  {
    check: ['install-on-paper.ts', 'if (!payload || source === index)'],
    behind: [
      ['install-on-paper.ts', "if (role !== 'main' || from"],
      ['content.ts', "trace.refuse('install-failed'"],
    ],
  },
];

const OUTPUT = fileURLToPath(new URL('../../.test-output/', import.meta.url));
mkdirSync(OUTPUT, { recursive: true });
const folder = mkdtempSync(join(OUTPUT, 'proof-'));
const state = () => (globalThis as unknown as { letPass: LetPass }).letPass;

/** A forgery in front of a unit, at which a check says no. */
interface Trial {
  readonly lab: Lab;
  readonly row: Forgery;
}

let entry: Entry;
let sites: readonly CheckSite[];
const trials = new Map<string, Trial[]>();
const heard = new Set<string>();
const passed = new Set<string>();

beforeAll(async () => {
  const built = await buildLetPass(fileURLToPath(new URL('./proof-entry.ts', import.meta.url)));
  sites = built.sites;
  const file = join(folder, 'proof.mjs');
  writeFileSync(file, built.text);
  entry = await import(pathToFileURL(file).href);
  for (const { make } of entry.SUBJECTS) await observe(await openLab(await make()));
});

afterAll(() => rmSync(folder, { recursive: true, force: true }));

async function openLab(subject: Parameters<Entry['judgeGenuine']>[0]): Promise<Lab> {
  const lab = await entry.Lab.open(subject, entry.judgeGenuine(subject));
  for (const moment of ['kept', 'ready', 'on trial'] as const) lab.field.at(moment);
  return lab;
}

async function observe(lab: Lab): Promise<void> {
  for (const row of entry.FORGERIES) {
    state().reached.clear();
    const { outcome, heard: told } = await entry.carryOut(lab, row);
    if (outcome !== 'passed') continue;
    heard.add(told!);
    passed.add(row.name);
    for (const check of state().reached) trials.set(check, [...(trials.get(check) ?? []), { lab, row }]);
  }
}

/** Whether a forgery is accepted, or falls elsewhere, once these checks pass. A unit that stumbles tells it too. */
async function isNoticed(check: string, ...others: readonly string[]): Promise<boolean> {
  for (const { lab, row } of trials.get(check)!) {
    state().passing = [check, ...others];
    try {
      if ((await entry.carryOut(lab, row)).outcome !== 'passed') return true;
    } catch {
      return true;
    } finally {
      state().passing = [];
    }
  }
  return false;
}

const siteOf = (check: string) => check.slice(0, check.indexOf(' '));
const isAt = ({ site, says }: CheckSite, [file, part]: readonly [string, string, ...string[]]) =>
  site.startsWith(`${file}:`) && says.includes(part);

const CODES = ['failed', 'chain-too-long', 'signer-purpose', 'install-failed', 'start-not-described'];

/** The checks behind one that stands twice, with every code they may say no with. */
function behind(check: string): string[] {
  const at = sites.find(({ site }) => site === siteOf(check))!;
  const places = STANDS_TWICE.find((row) => isAt(at, row.check))?.behind ?? [];
  return sites
    .filter((each) => places.some((place) => isAt(each, place)))
    .flatMap(({ site }) => CODES.map((code) => `${site} ${code}`));
}

describe('the table of forgeries', () => {
  it('holds none that is tried against no unit of these tests', () => {
    expect(entry.FORGERIES.filter(({ name }) => !passed.has(name)).map(({ name }) => name)).toEqual([]);
  });
});

describe('the closed list of refusals', () => {
  it('holds none that no forgery reaches', () => {
    const unheard = entry.REFUSALS.map(({ code }) => code).filter((code) => !heard.has(code));
    expect(unheard).toEqual([]);
  });
});

describe('the checks of the unit', () => {
  it('are all found in the sources', () => {
    expect(sites.length).toBeGreaterThan(100);
    const places = [...OUT_OF_REACH, ...STANDS_TWICE.map(({ check }) => check)];
    for (const row of places) expect(sites.filter((each) => isAt(each, row))).not.toEqual([]);
  });

  it('each says no to a forgery, but for those that nothing can reach', () => {
    const reached = new Set([...trials.keys()].map(siteOf));
    const silent = sites.filter(({ site }) => !reached.has(site));
    const unexplained = silent.filter((each) => !OUT_OF_REACH.some((row) => isAt(each, row)));
    expect(unexplained.map(({ site, says }) => `${site} ${says}`)).toEqual([]);
  });

  it('each is missed by a forgery once it lets everything pass', async () => {
    const missing: string[] = [];
    for (const check of trials.keys()) {
      if ((await isNoticed(check)) || (await isNoticed(check, ...behind(check)))) continue;
      missing.push(`${check}: ${trials.get(check)![0]!.row.name}`);
    }
    expect(missing).toEqual([]);
  });

  it('that stand twice would be missed by nobody alone', async () => {
    for (const { check: place } of STANDS_TWICE) {
      const own = [...trials.keys()].filter((check) =>
        isAt(sites.find(({ site }) => site === siteOf(check))!, place),
      );
      const missed: boolean[] = [];
      for (const check of own) missed.push(await isNoticed(check));
      expect(missed, place[1]).toContain(false);
    }
  });
});

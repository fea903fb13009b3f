import { describe, expect, it } from 'vitest';
import { concat } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import { defaultMemoryMap } from '../../src/image/index.ts';
import type { StepName, UnitView } from '../../src/unit/index.ts';
import { fingerprint } from '../../src/x509/index.ts';
import {
  check,
  envelopeOf,
  imageOf,
  makerChain,
  OTHER_CLASS,
  type Sealing,
  signedBy,
  unitOf,
  VENDOR,
  VENT,
} from './maker.ts';
import {
  COMPATIBLE,
  type CONTENT,
  digestParameter,
  FETCH,
  type RawParts,
  rawRelease,
  set,
  URI,
} from './raw-release.ts';

/** Steps 1 to 9 in the order of the design; one fault for each, and all of them can be had at once. */
const STEPS = [
  'envelope',
  'signer',
  'authentication',
  'manifest',
  'freshness',
  'identity',
  'fit',
  'content',
  'image',
] as const satisfies StepName[];

const chain = await makerChain();
const seal = signedBy(chain);

function unitWith(faults: ReadonlySet<StepName>): UnitView {
  const memory = defaultMemoryMap({ core: 'none', slotSize: faults.has('fit') ? 4096 : 8192 });
  const floors = {
    sequenceNumber: faults.has('freshness') ? 99n : 0n,
    securityVersion: 0,
    signerGeneration: 0,
  };
  const deniedSigners = faults.has('signer') ? [fingerprint(chain.signer.spki)] : [];
  return unitOf(chain, { record: { memory }, state: { floors, deniedSigners } });
}

const LARGE = imageOf(5000, 3);
const LARGE_CONTENT: typeof CONTENT = [
  [3, digestParameter(sha256(LARGE))],
  [14, LARGE.length],
];

function partsWith(faults: ReadonlySet<StepName>): RawParts {
  const classId = faults.has('identity') ? OTHER_CLASS : VENT;
  return {
    shared: [...set([1, VENDOR], [2, classId], ...LARGE_CONTENT), ...COMPATIBLE],
    ...(faults.has('manifest') ? { install: [...FETCH, 99, 0] } : {}),
  };
}

const spoiled: Sealing = async (digest) => {
  const [block] = await seal(digest);
  block![block!.length - 1]! ^= 1;
  return [block!];
};

async function envelopeWith(faults: ReadonlySet<StepName>): Promise<Uint8Array> {
  const bytes = faults.has('image') ? imageOf(LARGE.length, 4) : LARGE;
  const whole = await envelopeOf({
    manifest: rawRelease(partsWith(faults)),
    seal: faults.has('authentication') ? spoiled : seal,
    integrated: faults.has('content') ? [] : [{ key: URI, bytes }],
  });
  return faults.has('envelope') ? concat(whole, new Uint8Array(1)) : whole;
}

/** All 512 ways to have some of the faults. */
const ALL = Array.from({ length: 2 ** STEPS.length }, (_, bits) => STEPS.filter((_, i) => bits & (1 << i)));

describe('design: the order of a unit’s checks', () => {
  it('whatever else is wrong, the refusal is that of the earliest step', async () => {
    for (const faulty of ALL) {
      const faults = new Set<StepName>(faulty);
      const { refusal, verdict } = check(unitWith(faults), await envelopeWith(faults));
      expect(refusal?.step, faulty.join(' and ')).toBe(faulty[0]);
      expect(verdict).toBe(faulty.length === 0 ? 'accepted' : 'refused');
    }
  });

  it('the steps before a refusal passed, and the ones behind it were not reached', async () => {
    for (const [at, step] of STEPS.entries()) {
      const faults = new Set<StepName>([step]);
      const { steps } = check(unitWith(faults), await envelopeWith(faults));
      const wanted = STEPS.map((_, i) => (i < at ? 'passed' : i === at ? 'refused' : 'not reached'));
      expect(steps.map(({ outcome }) => outcome)).toEqual(wanted);
    }
  });
});

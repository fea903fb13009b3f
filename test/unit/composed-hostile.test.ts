import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { equal } from '../../src/bytes/index.ts';
import { toJson, type Verdict } from '../../src/unit/index.ts';
import { checkWhole, composedUnit, marlChain, radioRelease, wholeRelease } from './composed.ts';
import { imageOf, makerChain, signedAt, signedBy } from './maker.ts';

const own = await makerChain();
const marl = await marlChain();
const unit = composedUnit(own, marl);
const radio = await radioRelease({ seal: signedAt(marl, 1), image: imageOf(60, 11) });
const whole = await wholeRelease({ seal: signedBy(own), radio, image: imageOf(40) });
const original = checkWhole(unit, whole);

/** Of both images, and of every manifest, what was sealed. */
function expectUntouched({ facts }: Verdict): void {
  expect(equal(facts.manifestDigest!, original.facts.manifestDigest!)).toBe(true);
  expect(facts.images).toEqual(original.facts.images);
  const told = (verdict: Verdict) =>
    verdict.facts.dependencies!.map(({ manifestDigest, sequenceNumber, signer }) => ({
      manifestDigest,
      sequenceNumber,
      key: signer!.certificate.spki,
    }));
  expect(told({ facts } as Verdict)).toEqual(told(original));
}

function expectNothingForged(envelope: Uint8Array): void {
  const verdict = checkWhole(unit, { envelope });
  JSON.stringify(toJson(verdict));
  if (verdict.verdict === 'accepted') expectUntouched(verdict);
  else expect(verdict.refusal).not.toBeNull();
}

describe('hostile bytes around and inside a dependency', () => {
  it('the unchanged envelope is accepted', () => {
    expect(original.verdict).toBe('accepted');
  });

  it('each byte, one bit changed: refused, or exactly what both authors sealed', () => {
    for (let at = 0; at < whole.envelope.length; at++) {
      const changed = whole.envelope.slice();
      changed[at]! ^= 1 << (at % 8);
      expectNothingForged(changed);
    }
  });

  it('property: bytes set, put in, taken out, cut off', () => {
    const change = fc.record({
      at: fc.nat(whole.envelope.length - 1),
      remove: fc.nat(6),
      bytes: fc.uint8Array({ maxLength: 4 }),
    });
    fc.assert(
      fc.property(fc.array(change, { minLength: 1, maxLength: 3 }), (changes) => {
        const bytes = changes.reduce(
          (all, { at, remove, bytes: put }) => all.toSpliced(at, remove, ...put),
          [...whole.envelope],
        );
        expectNothingForged(Uint8Array.from(bytes));
      }),
      { numRuns: 300 },
    );
  });

  it('property: the dependency mutated and sealed again by its author stays within its component', async () => {
    await fc.assert(
      fc.asyncProperty(fc.nat(2000), fc.nat(255), async (at, value) => {
        const mutated = await radioRelease({
          seal: signedAt(marl, 1),
          image: imageOf(60, 11),
          mutate: (manifest) => manifest.with(at % manifest.length, value),
        });
        const verdict = checkWhole(
          unit,
          await wholeRelease({ seal: signedBy(own), radio: mutated, image: imageOf(40) }),
        );
        if (verdict.verdict !== 'accepted') return;
        const [main, ...further] = verdict.facts.images!;
        expect(main).toEqual(original.facts.images![0]);
        expect(further.map(({ component }) => component)).toEqual(['radio']);
      }),
      { numRuns: 150 },
    );
  });
});

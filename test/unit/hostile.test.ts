import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { equal, sourceOf } from '../../src/bytes/index.ts';
import { checkAuthenticity, toJson, type UnitView, type Verdict } from '../../src/unit/index.ts';
import { readSubjectKey } from '../../src/x509/index.ts';
import {
  CLASS_KEY,
  check,
  imageOf,
  macedWith,
  makerChain,
  release,
  signedAt,
  signedBy,
  symmetricUnit,
  unitOf,
} from './maker.ts';

const chain = await makerChain();
const images = [imageOf(40)];
const text = {
  language: 'en',
  modelName: 'VC-2',
  updateDescription: 'Repairs the vent motor, and more than that',
};
const signed = await release({ seal: signedAt(chain, 2), images, text });
const maced = await release({ seal: macedWith(CLASS_KEY), images, text });
const key = readSubjectKey(chain.keys.signer.spki)!;

interface Change {
  readonly at: number;
  readonly kind: 'set' | 'insert' | 'remove' | 'swap' | 'cut';
  readonly value: number;
}

const change: fc.Arbitrary<Change> = fc.record({
  at: fc.nat(2000),
  kind: fc.constantFrom('set', 'insert', 'remove', 'swap', 'cut'),
  value: fc.nat(255),
});

function apply(bytes: readonly number[], { at, kind, value }: Change): number[] {
  if (bytes.length === 0) return [];
  const i = at % bytes.length;
  const j = (i + value) % bytes.length;
  switch (kind) {
    case 'set':
      return bytes.with(i, value);
    case 'insert':
      return bytes.toSpliced(i, 0, value);
    case 'remove':
      return bytes.toSpliced(i, 1 + (value % 8));
    case 'swap':
      return bytes.with(i, bytes[j]!).with(j, bytes[i]!);
    case 'cut':
      return bytes.slice(0, i);
  }
}

/** What was vouched for is what was sealed, down to the last byte that matters to a unit. */
function expectUntouched(verdict: Verdict, original: Verdict): void {
  expect(equal(verdict.facts.manifestDigest!, original.facts.manifestDigest!)).toBe(true);
  expect(verdict.facts.securityVersion).toBe(original.facts.securityVersion);
  expect(verdict.facts.sequenceNumber).toBe(original.facts.sequenceNumber);
  expect(equal(verdict.facts.images![0]!.digest, original.facts.images![0]!.digest)).toBe(true);
}

const units: [string, UnitView, Uint8Array][] = [
  ['asymmetric', unitOf(chain), signed.envelope],
  ['symmetric', symmetricUnit([CLASS_KEY]), maced.envelope],
];

describe.each(units)('hostile bytes, %s unit', (_name, unit, envelope) => {
  const original = check(unit, envelope);

  it('the unchanged envelope is accepted', () => {
    expect(original.verdict).toBe('accepted');
  });

  it('property: a changed envelope is refused, or says exactly what was sealed; nothing is ever thrown', () => {
    fc.assert(
      fc.property(fc.array(change, { minLength: 1, maxLength: 3 }), (changes) => {
        const changed = Uint8Array.from(changes.reduce(apply, [...envelope]));
        const verdict = check(unit, changed);
        JSON.stringify(toJson(verdict));
        if (verdict.verdict === 'accepted') expectUntouched(verdict, original);
        else expect(verdict.refusal).not.toBeNull();
      }),
      { numRuns: 500 },
    );
  });

  it('one bit of every byte: refused, or in a place that nothing vouches for and nothing acts on', () => {
    for (let bit = 0; bit < envelope.length * 8; bit += 7) {
      const changed = envelope.slice();
      changed[bit >> 3]! ^= 1 << (bit & 7);
      const verdict = check(unit, changed);
      if (verdict.verdict !== 'refused') expectUntouched(verdict, original);
    }
  });

  it('cut anywhere: refused at the first step', () => {
    for (let length = 0; length < envelope.length; length++) {
      expect(check(unit, envelope.subarray(0, length)).refusal?.step).toBe('envelope');
    }
  });

  it('property: any bytes at all are refused', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 300 }), (bytes) => {
        expect(check(unit, bytes).refusal?.step).toBe('envelope');
      }),
    );
  });
});

describe('hostile bytes, one key', () => {
  it('property: as above', () => {
    fc.assert(
      fc.property(fc.array(change, { minLength: 1, maxLength: 3 }), (changes) => {
        const changed = Uint8Array.from(changes.reduce(apply, [...signed.envelope]));
        const verdict = checkAuthenticity({ envelope: sourceOf(changed), key });
        if (verdict.verdict === 'accepted') {
          expect(equal(verdict.facts.manifestDigest!, signed.manifestDigest)).toBe(true);
        }
      }),
      { numRuns: 300 },
    );
  });

  it('a signature under one domain is no signature under another (RFC 9052 4.4: Signature1)', async () => {
    const { envelope } = await release({ seal: signedBy(chain, { externalAad: Uint8Array.of(1) }), images });
    expect(checkAuthenticity({ envelope: sourceOf(envelope), key }).refusal?.code).toBe('signature-wrong');
  });
});

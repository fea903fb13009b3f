/** Property: whatever the bytes, a parser answers with a value or a SuitError, and the anatomy accounts for all. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { concat, fromHex, sourceOf } from '../../src/bytes/index.ts';
import { CborMap } from '../../src/cbor/index.ts';
import {
  diagnosticOfEnvelope,
  type Manifest,
  manifestDigestMatches,
  mapBytes,
  openEnvelope,
  type ProcessorHost,
  type Region,
  readManifest,
  runSequences,
  SuitError,
} from '../../src/suit/index.ts';
import { EXAMPLES } from './examples.ts';
import { rawEnvelope, rawManifest, sequence, wrapperOf } from './raw.ts';

/** Examples, and one envelope with every kind of part. */
const SUBJECTS: readonly [string, Uint8Array][] = [...EXAMPLES, ['with severed text and a payload', full()]];

function full(): Uint8Array {
  const manifest = rawManifest({
    shared: [12, 0, 15, [sequence(14, 0), sequence(32, sequence(14, 2)), null]],
  });
  return rawEnvelope(
    [2, wrapperOf(manifest)],
    [3, manifest],
    [23, fromHex('a162656ea0')],
    ['#image', fromHex('010203')],
  );
}

/** Reads as a unit would; undefined where it refuses, and nothing but a SuitError may come. */
function attempt<T>(read: () => T): T | undefined {
  try {
    return read();
  } catch (error) {
    expect(error).toBeInstanceOf(SuitError);
    return undefined;
  }
}

function readWhole(bytes: Uint8Array): Manifest | undefined {
  const envelope = attempt(() => openEnvelope(sourceOf(bytes)));
  if (!envelope) return undefined;
  manifestDigestMatches(envelope);
  return attempt(() =>
    readManifest(envelope.manifest, { base: envelope.manifestStart, severed: envelope.severed }),
  );
}

/** Leaves follow one another from `start` to `end`; children fill their parents. */
function expectTiling(regions: readonly Region[], start: number, end: number): void {
  let at = start;
  for (const region of regions) {
    if (region.offset !== at || region.length <= 0)
      throw new Error(`${region.path} begins at ${region.offset}, not ${at}`);
    if (region.children) expectTiling(region.children, region.offset, region.offset + region.length);
    at += region.length;
  }
  if (at !== end) throw new Error(`regions end at ${at}, not ${end}`);
}

function expectWhole(bytes: Uint8Array): void {
  expectTiling(mapBytes(sourceOf(bytes)), 0, bytes.length);
  diagnosticOfEnvelope(sourceOf(bytes));
}

function flipped(bytes: Uint8Array, bit: number): Uint8Array {
  const copy = bytes.slice();
  copy[bit >> 3]! ^= 1 << (bit & 7);
  return copy;
}

describe.each(SUBJECTS)('%s', (_name, bytes) => {
  test('cut at every byte: refused with a SuitError, every byte still accounted for', () => {
    for (let length = 0; length < bytes.length; length++) {
      const cut = bytes.subarray(0, length);
      expect(attempt(() => openEnvelope(sourceOf(cut)))).toBeUndefined();
      expectWhole(cut);
    }
  });

  test('every bit flipped: a reading or a SuitError, and one bit of each byte: all still accounted for', () => {
    for (let bit = 0; bit < bytes.length * 8; bit++) {
      const changed = flipped(bytes, bit);
      readWhole(changed);
      if ((bit >> 3) % 8 === (bit & 7)) expectWhole(changed);
    }
  });

  test('every bit of the manifest flipped is seen by the digest', () => {
    const { manifestSpan } = openEnvelope(sourceOf(bytes));
    for (let bit = manifestSpan.start * 8; bit < manifestSpan.end * 8; bit++) {
      const envelope = attempt(() => openEnvelope(sourceOf(flipped(bytes, bit))));
      expect(envelope && manifestDigestMatches(envelope)).not.toBe(true);
    }
  });
});

const anyBytes = fc.uint8Array({ maxLength: 300 });
/** Codes whose argument is a reporting policy. */
const CODES = [1, 2, 3, 5, 6, 14, 18, 21, 22, 23, 24, 25];

/** Sequences of known commands with arguments mostly of the right shape. */
const commandSequence: fc.Memo<Uint8Array> = fc.memo((depth) => {
  const inner = depth > 1 ? commandSequence(depth - 1) : fc.constant(sequence(14, 0));
  const pair = fc.oneof(
    fc.tuple(fc.constantFrom(...CODES), fc.nat(15)),
    fc.tuple(
      fc.constant(12),
      fc.oneof(fc.nat(2), fc.constant(true), fc.array(fc.nat(2), { minLength: 1, maxLength: 3 })),
    ),
    fc.tuple(fc.constant(15), fc.array(inner, { minLength: 2, maxLength: 3 })),
    fc.tuple(fc.constant(32), inner),
    fc
      .record({ soft: fc.boolean(), strict: fc.boolean() })
      .map(({ soft, strict }) => [20, fromMap(soft, strict)] as const),
  );
  return fc.array(pair, { minLength: 1, maxLength: 4 }).map((pairs) => sequence(...pairs.flat()));
});

function fromMap(soft: boolean, strict: boolean): CborMap {
  return new CborMap([
    [12, strict],
    [13, soft],
    [21, '#a'],
    [22, 1],
  ]);
}

/** A host that answers by a fixed pattern and counts. */
function hostOf(pattern: readonly boolean[]): ProcessorHost & { calls: number } {
  const host = {
    calls: 0,
    condition: () => answer(),
    directive: () => answer(),
  };
  function answer() {
    const ok = pattern[host.calls++ % pattern.length]!;
    return ok ? ({ ok: true } as const) : ({ ok: false, reason: 'no', detail: 'by pattern' } as const);
  }
  return host;
}

describe('any bytes', () => {
  test('openEnvelope, readManifest, mapBytes', () => {
    fc.assert(
      fc.property(anyBytes, (bytes) => {
        readWhole(bytes);
        attempt(() => readManifest(bytes));
        expectWhole(bytes);
        expectWhole(concat(fromHex('d86ba3'), bytes));
      }),
      { numRuns: 500 },
    );
  });

  test('bytes in place of any element', () => {
    fc.assert(
      fc.property(fc.constantFrom(2, 3, 14, 16, 20, 23), anyBytes, (key, bytes) => {
        const manifest = rawManifest();
        const elements = new Map([
          [2, wrapperOf(manifest)],
          [3, manifest],
          [key, bytes],
        ]);
        const envelope = rawEnvelope(...[...elements].sort(([a], [b]) => a - b));
        readWhole(envelope);
        expectWhole(envelope);
      }),
      { numRuns: 300 },
    );
  });

  test('hostile nesting: arrays, tags, wrapped sequences, one inside the other', () => {
    const deep = (prefix: number): Uint8Array => new Uint8Array(60_000).fill(prefix);
    for (const bytes of [deep(0x81), deep(0xa1), deep(0xc1), deep(0x9f), deep(0xd8), wrappedDeep()]) {
      attempt(() => readManifest(bytes));
      const envelope = rawEnvelope([2, wrapperOf(bytes)], [3, bytes]);
      readWhole(envelope);
      expectWhole(envelope);
    }
  });
});

/** run-sequence inside run-sequence, as deep as 60 kB go. */
function wrappedDeep(): Uint8Array {
  let inner = sequence(14, 0);
  while (inner.length < 50_000) inner = sequence(32, inner);
  return rawManifest({ more: [[20, inner]] });
}

describe('[M] section 6: whatever a manifest says, the machine ends and does not throw', () => {
  test('random command sequences, random answers of the host', () => {
    fc.assert(
      fc.property(
        commandSequence(3),
        fc.array(fc.boolean(), { minLength: 1, maxLength: 8 }),
        (install, pattern) => {
          const components = [[fromHex('00')], [fromHex('01')], [fromHex('02')]];
          const start = sequence(12, true, 32, install);
          const manifest = attempt(() => readManifest(rawManifest({ components, more: [[20, start]] })));
          if (!manifest) return;
          const host = hostOf(pattern);
          const outcome = runSequences(manifest, 'install', host);
          expect(typeof outcome.ok).toBe('boolean');
          expect(host.calls).toBeLessThanOrEqual(20_000);
        },
      ),
      { numRuns: 500 },
    );
  });
});

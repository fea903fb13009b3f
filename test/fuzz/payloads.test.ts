import { afterAll, describe, expect, it } from 'vitest';
import { changeValue, write } from '../../scripts/fuzz/cbor-tree.ts';
import { ATTACKS } from '../../scripts/fuzz/payloads/classes.ts';
import { type KeptPayload, payloadFuzzer } from '../../scripts/fuzz/payloads/fuzzer.ts';
import { Violation } from '../../scripts/fuzz/payloads/judge.ts';
import { SpyStore } from '../../scripts/fuzz/payloads/spy.ts';
import { runStretch } from '../../scripts/fuzz/stretch.ts';
import { corpusOf } from '../../scripts/fuzz/target-fuzzer.ts';
import { fromHex, toUtf8 } from '../../src/bytes/index.ts';
import { STEPS } from '../../src/unit/index.ts';

const CASES = 100;
const SEED = 20_261_125;
const fuzzer = await payloadFuzzer();
const { benches } = fuzzer.payloads;

describe('hostile payloads', () => {
  const ends: Record<string, number> = {};
  let all = 0;

  it.each(ATTACKS.map(({ name, about }) => [name, about] as const))(
    '%s (%s): nothing is accepted that nobody sealed, and no promise is broken',
    (name) => {
      const { counts, violations } = runStretch(
        fuzzer,
        { name, seed: SEED, from: 0, to: CASES },
        { at: () => {} },
      );
      expect(violations).toEqual([]);
      for (const [end, count] of Object.entries(counts)) ends[end] = (ends[end] ?? 0) + count;
      all += CASES;
    },
  );

  it('at least half are sealed again after the change, in both schemes', () => {
    const insiders = ATTACKS.flatMap((attack) =>
      Array.from({ length: 50 }, (_, number) => fuzzer.payloads.caseOf(attack, SEED, number)),
    );
    const again = insiders.filter(({ insider }) => insider);
    expect(again.length / insiders.length).toBeGreaterThanOrEqual(0.5);
    expect(new Set(again.map(({ bench }) => bench.rig.record.scheme)).size).toBe(2);
  });

  afterAll(() => {
    for (const { name } of STEPS)
      expect((ends[name] ?? 0) / all, `step ${name}`).toBeGreaterThanOrEqual(0.02);
  });
});

describe('the judge itself sees', () => {
  const bench = benches[0]!;
  const [offer] = bench.rig.offers;

  it('what was sealed, accepted', () => {
    const { envelope, image } = offer!;
    expect(bench.judge({ kind: 'payload', envelope, image, sealed: [] })).toBe('accepted: what was sealed');
  });

  it('a payload that a unit takes though nobody is said to have sealed it', () => {
    const { envelope, image } = offer!;
    const attack = { kind: 'payload', envelope, image, sealed: [], unsealed: true } as const;
    expect(() => bench.judge(attack)).toThrow(Violation);
  });

  it('a change that the seal covers, refused at the first step', () => {
    const { tree, image } = offer!;
    const envelope = write(changeValue(tree, 3, () => ({ kind: 'bytes', value: new Uint8Array(3) })));
    expect(bench.judge({ kind: 'payload', envelope, image, sealed: [] })).toBe('envelope');
  });
});

describe('the spy sees', () => {
  it('what is written outside the places that are open, and nothing else', () => {
    const store = new SpyStore(new Uint8Array(64));
    store.open = [{ offset: 16, size: 16 }];
    store.write(16, new Uint8Array(16));
    expect(store.breaches).toEqual([]);
    store.write(24, new Uint8Array(16));
    expect(store.breaches).toHaveLength(1);
    expect(store.writes).toBe(2);
  });

  it('anything written before a decision was made', () => {
    const store = new SpyStore(new Uint8Array(64));
    store.write(0, new Uint8Array(1));
    expect(store.breaches).toHaveLength(1);
  });
});

describe('payloads that once broke a promise', () => {
  const kept = corpusOf('test/corpus', 'regressions').map(([name, bytes]) => [name, toUtf8(bytes)] as const);

  it(`${kept.length} kept cases hold`, () => {
    for (const [name, text] of kept) expect(() => judgeKept(JSON.parse(text)), name).not.toThrow();
  });
});

function judgeKept({ class: of, seed, number, unit, ...payload }: KeptPayload): void {
  const { envelope_hex: envelope, image_hex: image, moment, changes = [] } = payload;
  if (!envelope && !moment) return void fuzzer.run(of, seed, number);
  const bench = benches.find(({ rig }) => rig.name === unit)!;
  if (moment) {
    const change = (bytes: Uint8Array) =>
      changes.forEach(([at, value]) => void bytes.fill(value, at, at + 1));
    return void bench.judge({ kind: 'tampering', moment, change });
  }
  bench.judge({
    kind: 'payload',
    envelope: fromHex(envelope!),
    image: image === undefined ? undefined : fromHex(image),
    sealed: (payload.sealed_hex ?? []).map(fromHex),
    ...(payload.unsealed ? { unsealed: true as const } : {}),
  });
}

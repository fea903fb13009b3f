import { afterAll, describe, expect, it } from 'vitest';
import {
  changeAt,
  changeValue,
  childrenOf,
  treeOf,
  withChildren,
  write,
} from '../../scripts/fuzz/cbor-tree.ts';
import { placesWhere } from '../../scripts/fuzz/payloads/attack.ts';
import type { Authority } from '../../scripts/fuzz/payloads/authority.ts';
import { ATTACKS } from '../../scripts/fuzz/payloads/classes.ts';
import { type KeptPayload, payloadFuzzer } from '../../scripts/fuzz/payloads/fuzzer.ts';
import { Violation } from '../../scripts/fuzz/payloads/judge.ts';
import { changeBlocks, resealed, resealedMessage } from '../../scripts/fuzz/payloads/resealed.ts';
import { sent } from '../../scripts/fuzz/payloads/run.ts';
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

describe('each unit takes what its maker sealed for it', () => {
  it.each([...new Set(benches)].map((bench) => [bench.rig.name, bench] as const))('%s', (_, bench) => {
    const { offers, encrypted, byDelta } = bench.rig;
    for (const { envelope, image } of [...offers, ...encrypted, ...byDelta]) {
      const payload = { kind: 'payload', envelope, image, sealed: [] } as const;
      expect(bench.judge(sent(payload, bench.rig))).toBe('accepted: what was sealed');
    }
  });

  it('signed by one and by several, in every algorithm, MACed, in messages, encrypted with and without a staging area', () => {
    const rigs = benches.map(({ rig }) => rig);
    expect(new Set(rigs.map(({ authority }) => authority.type))).toEqual(
      new Set(['p256', 'ed25519', 'hss-lms', 'hmac']),
    );
    expect(new Set(rigs.map(({ record }) => record.authentication?.rule))).toEqual(
      new Set([undefined, 'all', 'at_least']),
    );
    const sentTo = rigs.filter(({ messenger }) => messenger).map(({ record }) => record.scheme);
    expect(new Set(sentTo).size).toBe(2);
    const decrypting = rigs.filter(({ encrypted }) => encrypted.length > 0).map(({ shape }) => shape);
    expect(new Set(decrypting)).toEqual(new Set(['remapped', 'staged']));
  });
});

describe('the attacks are what they say', () => {
  const named = (name: string) => benches.find(({ rig }) => rig.name === name)!;

  it('one of two signers alone is refused, where both together are taken', () => {
    const bench = named('author and approver, remapped');
    const { tree, image } = bench.rig.offers[0]!;
    const alone = write(changeBlocks(tree, (blocks) => blocks.slice(0, 1)));
    expect(bench.judge({ kind: 'payload', envelope: alone, image, sealed: [] })).toBe('authentication');
    const turned = write(changeBlocks(tree, (blocks) => blocks.toReversed()));
    expect(bench.judge({ kind: 'payload', envelope: turned, image, sealed: [] })).toBe(
      'accepted: what was sealed',
    );
  });

  it('a genuine envelope that a stranger encrypted is refused at the first step', () => {
    for (const name of ['esp256, messages', 'hmac, messages']) {
      const bench = named(name);
      const { envelope, image } = bench.rig.offers[0]!;
      const encrypted = bench.rig.messenger!.encrypted(envelope);
      expect(bench.judge({ kind: 'payload', envelope: encrypted, image, sealed: [] })).toBe('envelope');
    }
  });

  it('a radio release is taken from its maker, and refused from the maker of the unit', () => {
    const bench = named('esp256, with a radio');
    const { offers, radio, authority } = bench.rig;
    const [offer] = offers;
    const { path } = placesWhere(offer!, (name) => name === '/text').find(
      ({ node }) => node.kind === 'wrapped',
    )!;
    const sealedBy = (by: Authority) =>
      write(
        changeAt(offer!.tree, path, (node) => withChildren(node, [resealed(childrenOf(node)[0]!, by).tree])),
      );
    const judge = (envelope: Uint8Array) =>
      bench.judge({ kind: 'payload', envelope, image: undefined, sealed: [] });
    expect(judge(sealedBy(radio!.authority))).toBe('accepted: what was sealed');
    expect(judge(sealedBy(authority))).toBe('manifest');
  });

  it('a message changed and sealed again is a message still: only its authority could have made it', () => {
    const { rig } = named('hmac, messages');
    const message = rig.messenger!.around(rig.offers[0]!.envelope);
    expect(write(resealedMessage(treeOf(message)!, rig.authority))).toEqual(message);
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

import { describe, expect, test } from 'vitest';
import { fromHex, sourceOf } from '../../src/bytes/index.ts';
import {
  beginLife,
  type Cut,
  createUnitFile,
  memoryStore,
  openUnit,
  openUnitFile,
  PowerCut,
  type Store,
  unitFileLayout,
} from '../../src/unit/index.ts';
import { imageOf, release, signedAt, signedBy } from '../unit/maker.ts';
import { chain, rootKey, signerKey, spare, spareTrust, trustUnit, trustUpdate } from '../unit/trust-maker.ts';
import { seededNoise } from './noise.ts';

const KEY = '5a'.repeat(32);
const { record } = trustUnit();

function newUnit(): Store & { readonly bytes: Uint8Array } {
  const store = memoryStore(unitFileLayout(record.memory).size);
  const file = createUnitFile(store, { record, marksKey: { trial_hex: KEY } });
  beginLife(record, file.flash({ noise: seededNoise(1) }), fromHex(KEY));
  return store;
}

function power(store: Store, cut?: Cut, seed = 2) {
  const file = openUnitFile(store);
  const flash = file.flash({ noise: seededNoise(seed), cut });
  const { memory } = file;
  return { flash, unit: openUnit({ record, macKeys: new Map(), marksKey: fromHex(KEY), flash, memory }) };
}

const offered = (envelope: Uint8Array) => ({ envelope: sourceOf(envelope) });
const install = (store: Store, envelope: Uint8Array) => power(store).unit.install(offered(envelope));
const images = [imageOf(3000)];

/** A unit that runs and keeps the release 7 of the chain. */
async function runningUnit(seal = signedBy(chain)): Promise<ReturnType<typeof newUnit>> {
  const store = newUnit();
  const first = await release({ seal, images });
  for (const act of [
    () => install(store, first.envelope),
    () => power(store).unit.start(),
    () => power(store).unit.keep(),
  ])
    expect(act().refusal).toBeNull();
  return store;
}

describe('a trust update on a unit', () => {
  test('denies a signer from then on, also after a restart, and what runs goes on', async () => {
    const store = await runningUnit();
    const later = await release({ seal: signedBy(chain), images, sequenceNumber: 8 });
    const update = await trustUpdate({ denied: [signerKey(chain)] });
    expect(install(store, update)).toMatchObject({ verdict: 'accepted', slot: null });
    expect(install(store, later.envelope).refusal?.code).toBe('signer-denied');
    expect(power(store).unit.start().started?.state).toBe('kept');
    expect(power(store).unit.keep()).toMatchObject({ verdict: 'accepted', already: true });
  });

  test('the same again changes nothing; an older one is refused', async () => {
    const store = newUnit();
    const [one, two] = [await trustUpdate({}), await trustUpdate({ minimumGeneration: 1 }, { number: 2n })];
    install(store, one);
    install(store, two);
    const before = store.bytes.slice();
    expect(install(store, two).facts.effect).toBe('already there');
    expect(store.bytes).toEqual(before);
    expect(install(store, one).refusal?.code).toBe('trust-number-too-low');
  });

  test('is refused while it would leave the unit without an image that starts', async () => {
    const store = await runningUnit();
    const update = await trustUpdate({ securityVersion: 1 });
    expect(install(store, update).refusal?.code).toBe('trust-update-strands');
    const fixed = await release({ seal: signedAt(chain, 1), images, sequenceNumber: 8 });
    for (const act of [
      () => install(store, fixed.envelope),
      () => power(store).unit.start(),
      () => power(store).unit.keep(),
    ])
      act();
    expect(install(store, update).verdict).toBe('accepted');
    expect(power(store).unit.state()?.floors.securityVersion).toBe(1);
  });

  test('an image on trial ends its trial first', async () => {
    const store = newUnit();
    install(store, (await release({ seal: signedBy(chain), images })).envelope);
    power(store).unit.start();
    expect(install(store, await trustUpdate({})).refusal?.code).toBe('trial-in-progress');
  });

  test('the spare root takes over: old image runs on, old root installs nothing, new root does', async () => {
    const store = await runningUnit();
    const rotation = await trustUpdate({ retired: [rootKey(chain)] }, { seal: signedBy(spareTrust) });
    const forged = await release({ seal: signedBy(chain), images, sequenceNumber: 99 });
    const next = await release({ seal: signedBy(spare), images: [imageOf(3000, 5)], sequenceNumber: 8 });
    expect(install(store, rotation).verdict).toBe('accepted');
    expect(power(store).unit.start().started?.state).toBe('kept');
    expect(install(store, forged.envelope).refusal?.code).toBe('signer-not-anchored');
    expect(install(store, next.envelope).verdict).toBe('accepted');
    expect(power(store).unit.start().started?.facts?.sequenceNumber).toBe(8n);
    expect(power(store).unit.keep().verdict).toBe('accepted');
  });

  test('one damaged copy of the policy costs nothing; with both gone the unit takes nothing more, and starts', async () => {
    const store = await runningUnit();
    install(store, await trustUpdate({ denied: [signerKey(chain)] }));
    const { unit } = power(store);
    const { flashOffset } = unitFileLayout(record.memory);
    const damage = (half: number) => {
      store.bytes[flashOffset + unit.layout.policy![half]!.offset + 8]! ^= 1;
    };
    const later = (await release({ seal: signedBy(chain), images, sequenceNumber: 8 })).envelope;
    damage(unit.marks()!.trust!.half);
    expect(install(store, later).refusal?.code).toBe('signer-denied');
    damage(1 - unit.marks()!.trust!.half);
    expect(install(store, later).refusal?.code).toBe('marks-lost');
    expect(power(store).unit.start().started?.state).toBe('kept');
  });
});

describe('a power cut at any write of a trust update (draft-ietf-suit-manifest 6.3.1)', () => {
  test('leaves the old policy or the new one, whole; sent again, the new one counts', async () => {
    const old = { denied: ['11'.repeat(32)] };
    const next = {
      denied: ['11'.repeat(32), signerKey(chain)].toSorted(),
      minimumGeneration: 1,
      securityVersion: 0,
    };
    const store = await runningUnit();
    install(store, await trustUpdate(old));
    const update = await trustUpdate(next, { number: 2n });
    const start = store.bytes.slice();
    const uncut = power(memoryStore(start.length, start.slice()));
    uncut.unit.install(offered(update));
    const { operations } = uncut.flash;
    expect(operations).toBeGreaterThan(10);
    const seen = { old: 0, new: 0 };
    for (let after = 0; after < operations; after++) {
      for (const kind of ['before', 'middle', 'after'] as const) {
        const cut = memoryStore(start.length, start.slice());
        expect(() => power(cut, { after, kind }, after + 3).unit.install(offered(update))).toThrow(PowerCut);
        const read = power(cut, undefined, after + 5);
        const policy = read.unit.state()!.trust!.policy!;
        const isNew = policy.denied.length === 2;
        expect(policy.denied).toEqual(isNew ? next.denied : old.denied);
        seen[isNew ? 'new' : 'old']++;
        expect(read.unit.start().started?.state).toBe('kept');
        expect(install(cut, update).verdict).toBe('accepted');
        const settled = power(cut, undefined, after + 7).unit.state()!;
        expect(settled.trust).toMatchObject({ numbers: { release: 2n }, policy: next });
      }
    }
    expect(seen.old).toBeGreaterThan(0);
    expect(seen.new).toBeGreaterThan(0);
  });
});

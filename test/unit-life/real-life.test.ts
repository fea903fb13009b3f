import { describe, expect, test } from 'vitest';
import { concat, equal, fromHex, sourceOf } from '../../src/bytes/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import {
  beginLife,
  type Cut,
  checkForUnit,
  createUnitFile,
  memoryStore,
  openUnit,
  openUnitFile,
  PowerCut,
  programRecovery,
  type Store,
  type UnitRecord,
  type UnitView,
  unitFileLayout,
} from '../../src/unit/index.ts';
import {
  CLASS_KEY,
  imageOf,
  macedWith,
  makerChain,
  type Release,
  release,
  signedAt,
  signedBy,
  symmetricUnit,
  unitOf,
} from '../unit/maker.ts';
import { COMPATIBLE, CONTENT, IDS, sealedRaw, set } from '../unit/raw-release.ts';
import { seededNoise } from './noise.ts';

const chain = await makerChain();
const MARKS_KEY = '5a'.repeat(32);
const RECOVERY = imageOf(3000, 9);

/** A new unit in its file, with marks and nothing installed. */
function newUnit(record: UnitRecord): Store & { readonly bytes: Uint8Array } {
  const store = memoryStore(unitFileLayout(record.memory).size);
  const digest = Buffer.from(sha256(RECOVERY)).toString('hex');
  const recovery = record.memory.recovery && { size_bytes: RECOVERY.length, digest };
  const file = createUnitFile(store, { record, marksKey: { trial_hex: MARKS_KEY }, recovery });
  const flash = file.flash({ noise: seededNoise(1) });
  if (recovery) programRecovery(file, flash, RECOVERY);
  beginLife(record, flash, fromHex(MARKS_KEY));
  return store;
}

/** Another process with the same file. */
function power(store: Store, { macKeys }: Pick<UnitView, 'macKeys'>, cut?: Cut) {
  const file = openUnitFile(store);
  const { record, memory, recoveryImage: recovery } = file;
  const flash = file.flash({ noise: seededNoise(2), cut });
  return openUnit({ record, macKeys, marksKey: fromHex(MARKS_KEY), flash, recovery, memory });
}

const offer = ({ envelope }: Release) => ({ envelope: sourceOf(envelope) });

describe('a unit over its file, with the real decision', () => {
  test.each(['remapped', 'position-independent', 'linked', 'staged'] as const)(
    '%s: install, start on trial, keep, update, fall back',
    async (shape) => {
      const unit = unitOf(chain, { shape });
      const seal = signedBy(chain);
      const images = (seed: number) =>
        shape === 'linked' ? [imageOf(9000, seed), imageOf(9100, seed + 1)] : [imageOf(9000, seed)];
      const first = await release({ shape, seal, images: images(1), sequenceNumber: 1 });
      const second = await release({ shape, seal, images: images(3), sequenceNumber: 2 });
      const store = newUnit(unit.record);

      expect(power(store, unit).install(offer(first))).toMatchObject({ verdict: 'accepted', refusal: null });
      expect(power(store, unit).start().started).toMatchObject({ state: 'on trial' });
      expect(power(store, unit).install(offer(second)).refusal?.code).toBe('trial-in-progress');
      expect(power(store, unit).keep()).toMatchObject({ verdict: 'accepted', already: false });
      expect(power(store, unit).keep()).toMatchObject({ verdict: 'accepted', already: true });
      expect(power(store, unit).start().started).toMatchObject({ state: 'kept' });

      const installed = power(store, unit).install(offer(second));
      expect(installed.steps.map(({ outcome }) => outcome)).toEqual(new Array(10).fill('passed'));
      expect(power(store, unit).start().started?.facts?.sequenceNumber).toBe(2n);
      const back = power(store, unit).start();
      expect(back.passedOver.map(({ refusal }) => refusal.code)).toEqual(['trial-ran-out']);
      expect(back.started?.image).toBe(shape === 'staged' ? 'recovery' : 'A');
      expect(power(store, unit).state()?.floors.sequenceNumber).toBe(1n);
    },
  );

  test('a refusal in steps 1 to 7 leaves flash untouched', async () => {
    const unit = unitOf(chain);
    const store = newUnit(unit.record);
    const genuine = await release({ seal: signedBy(chain) });
    const before = store.bytes.slice();
    for (let at = 0; at < genuine.envelope.length - 5000; at += 7) {
      const forged = genuine.envelope.slice();
      forged[at]! ^= 1;
      const result = power(store, unit).install({ envelope: sourceOf(forged) });
      if (result.refusal && !['content', 'image', 'commit'].includes(result.refusal.step)) {
        expect(equal(store.bytes, before)).toBe(true);
      }
    }
  });

  test('check and install say the same, and check changes nothing', async () => {
    const unit = unitOf(chain);
    const store = newUnit(unit.record);
    const genuine = await release({ seal: signedBy(chain) });
    const before = store.bytes.slice();
    const said = checkForUnit({ ...offer(genuine), unit: power(store, unit).view() });
    expect(equal(store.bytes, before)).toBe(true);
    const done = power(store, unit).install(offer(genuine));
    expect(done.steps.slice(0, 7)).toHaveLength(7);
    expect(said.steps.slice(0, 7).map(({ outcome }) => outcome)).toEqual(
      done.steps.slice(0, 7).map(({ outcome }) => outcome),
    );
    expect(done.slot).toBe(said.facts.slot);
  });

  test('an image that is not the sealed one is refused at step 9 and never starts', async () => {
    const unit = unitOf(chain);
    const store = newUnit(unit.record);
    const forged = await release({ seal: signedBy(chain), payloads: [imageOf(5000, 8)] });
    const result = power(store, unit).install(offer(forged));
    expect(result.refusal).toMatchObject({ code: 'image-digest-wrong', step: 'image' });
    expect(power(store, unit).start().refusal?.code).toBe('nothing-to-start');
  });

  test('detached: absent is incomplete, another length is refused before anything is programmed', async () => {
    const unit = unitOf(chain);
    const store = newUnit(unit.record);
    const detached = await release({ seal: signedBy(chain), detached: true });
    const before = store.bytes.slice();
    expect(power(store, unit).install(offer(detached)).verdict).toBe('incomplete');
    const longer = { ...offer(detached), image: sourceOf(concat(detached.images[0]!, new Uint8Array(1))) };
    expect(power(store, unit).install(longer).refusal?.code).toBe('image-length-wrong');
    expect(equal(store.bytes, before)).toBe(true);
    const whole = { ...offer(detached), image: sourceOf(detached.images[0]!) };
    expect(power(store, unit).install(whole)).toMatchObject({ verdict: 'accepted', slot: 'A' });
    expect(power(store, unit).start().started?.image).toBe('A');
  });

  test('symmetric scheme; a power cut in the middle, then the same payload resumes', async () => {
    const unit = symmetricUnit([CLASS_KEY]);
    const store = newUnit(unit.record);
    const images = [imageOf(100_000)];
    const genuine = await release({ seal: macedWith(CLASS_KEY), images });
    const cut = { after: 9000, kind: 'middle' } as const;
    expect(() => power(store, unit, cut).install(offer(genuine))).toThrow(PowerCut);
    expect(power(store, unit).start().refusal?.code).toBe('nothing-to-start');
    const result = power(store, unit).install(offer(genuine));
    expect(result).toMatchObject({ verdict: 'accepted', facts: { effect: 'resume' } });
    const again = power(store, unit).install(offer(genuine));
    expect(again).toMatchObject({ verdict: 'accepted', facts: { effect: 'already there' }, slot: 'A' });
    expect(power(store, unit).start().started?.state).toBe('on trial');
  });

  test('a date that has passed since never stops a start (design: step 11)', async () => {
    const unit = unitOf(chain, { record: { clock: true } });
    const store = newUnit(unit.record);
    const noon = new Date(Date.UTC(2026, 5, 1, 12));
    const shared = [
      ...set(...IDS, CONTENT[0]!, [4, noon.getTime() / 1000 + 60], CONTENT[1]!),
      ...COMPATIBLE,
      4,
      15,
    ];
    const envelope = sourceOf(await sealedRaw(signedBy(chain), { shared }));
    const late = new Date(noon.getTime() + 3_600_000);
    expect(power(store, unit).install({ envelope, now: late }).refusal?.code).toBe('use-before-passed');
    expect(power(store, unit).install({ envelope, now: noon }).refusal).toBeNull();
    expect(power(store, unit).start().started?.image).toBe('A');
    expect(power(store, unit).keep().verdict).toBe('accepted');
    expect(power(store, unit).start().started?.state).toBe('kept');
  });

  test('keeping raises the security floor, and what lies below it no longer starts', async () => {
    const unit = unitOf(chain);
    const store = newUnit(unit.record);
    for (const [sequenceNumber, security] of [
      [1, 0],
      [2, 3],
    ] as const) {
      const next = await release({ seal: signedAt(chain, security), sequenceNumber });
      power(store, unit).install(offer(next));
      power(store, unit).start();
      expect(power(store, unit).keep().floors).toMatchObject({
        sequenceNumber: BigInt(sequenceNumber),
        securityVersion: security,
      });
    }
    const { offset } = unitFileLayout(unit.record.memory).flash.slots[1];
    store.bytes[65_536 + offset]! ^= 1;
    const result = power(store, unit).start();
    expect(result.passedOver.map(({ refusal }) => refusal.code)).toEqual([
      'stored-image-wrong',
      'stored-version-below-floor',
    ]);
    expect(result.refusal?.code).toBe('nothing-to-start');
  });
});

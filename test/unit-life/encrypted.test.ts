import { describe, expect, test } from 'vitest';
import { equal, fromHex, sourceOf } from '../../src/bytes/index.ts';
import { defaultMemoryMap } from '../../src/image/index.ts';
import {
  beginLife,
  type Cut,
  checkForUnit,
  createUnitFile,
  memoryStore,
  openUnit,
  openUnitFile,
  PowerCut,
  type Store,
  type UnitRecord,
  type UnitView,
  unitFileLayout,
} from '../../src/unit/index.ts';
import {
  decryptionKey,
  encryptedRelease,
  KEK,
  toHolders,
  toUnit,
  unitWithKek,
  unitWithKey,
} from '../unit/encrypted.ts';
import { CLASS_KEY, imageOf, macedWith, makerChain, signedBy } from '../unit/maker.ts';
import { seededNoise } from './noise.ts';

const MARKS_KEY = '5a'.repeat(32);
const chain = await makerChain();
const edwards = await makerChain('ed25519');
const own = decryptionKey();
const stranger = decryptionKey();
const flip = (at: number) => (bytes: Uint8Array) => {
  const changed = bytes.slice();
  changed[at < 0 ? bytes.length + at : at]! ^= 1;
  return changed;
};

function newUnit(record: UnitRecord): Store & { readonly bytes: Uint8Array } {
  const store = memoryStore(unitFileLayout(record.memory).size);
  const file = createUnitFile(store, { record, marksKey: { trial_hex: MARKS_KEY }, recovery: undefined });
  beginLife(record, file.flash({ noise: seededNoise(1) }), fromHex(MARKS_KEY));
  return store;
}

function power(store: Store, { macKeys, unwrappers }: UnitView, cut?: Cut) {
  const { record, memory, flash: flashOf } = openUnitFile(store);
  const flash = flashOf({ noise: seededNoise(2), cut });
  return { ...openUnit({ record, macKeys, unwrappers, marksKey: fromHex(MARKS_KEY), flash, memory }), flash };
}

const offer = ({ envelope }: { envelope: Uint8Array }) => ({ envelope: sourceOf(envelope) });

/** What the running slot holds. */
function running(store: Store, unit: UnitView, slot: number, length: number): Uint8Array {
  const { flash, layout } = power(store, unit);
  return flash.read(layout.slots[slot]!.offset, length);
}

const PROFILES = [
  'suit-sha256-esp256-ecdh-a128ctr',
  'suit-sha256-esp256-ecdh-a128gcm',
  'suit-sha256-ed25519-ecdh-chacha-poly',
] as const;
const makerOf = (profile: string) => (profile.includes('ed25519') ? edwards : chain);
const sealOf = (profile: string) =>
  profile.includes('ed25519') ? signedBy(edwards, {}, 'ed25519') : signedBy(chain);

describe.each(PROFILES)('draft-ietf-suit-mti, %s: one unit among the recipients', (profile) => {
  test.each(['remapped', 'linked', 'staged'] as const)(
    '%s: checked, installed, decrypted, started, kept, updated',
    async (shape) => {
      const unit = unitWithKey(makerOf(profile), own, { shape, profile });
      const images = shape === 'linked' ? [imageOf(9000, 1), imageOf(9100, 2)] : [imageOf(9000, 1)];
      const recipients = [toUnit(stranger), toUnit(own)];
      const make = (sequenceNumber: number) =>
        encryptedRelease({ shape, profile, images, recipients, seal: sealOf(profile), sequenceNumber });
      const first = await make(1);
      const store = newUnit(unit.record);

      const said = checkForUnit({ ...offer(first), unit: power(store, unit).view() });
      expect(said).toMatchObject({ verdict: 'accepted', refusal: null });
      expect(power(store, unit).install(offer(first))).toMatchObject({ verdict: 'accepted', refusal: null });
      expect(power(store, unit).install(offer(first)).facts.effect).toBe('already there');
      expect(power(store, unit).start().started).toMatchObject({ state: 'on trial' });
      expect(equal(running(store, unit, 0, images[0]!.length), images[0]!)).toBe(true);
      expect(power(store, unit).keep().verdict).toBe('accepted');
      expect(power(store, unit).start().started).toMatchObject({ state: 'kept' });

      const second = await make(2);
      expect(power(store, unit).install(offer(second))).toMatchObject({ verdict: 'accepted' });
      expect(power(store, unit).start().started?.facts?.sequenceNumber).toBe(2n);
    },
  );
});

test('the same for the symmetric scheme, by A128KW under the key of the class', async () => {
  for (const shape of ['remapped', 'staged'] as const) {
    const unit = unitWithKek(KEK, { memory: defaultMemoryMap({ core: 'none', shape }) });
    const store = newUnit(unit.record);
    const seal = macedWith(CLASS_KEY);
    const made = await encryptedRelease({ shape, recipients: [toHolders(KEK)], seal });
    expect(power(store, unit).install(offer(made))).toMatchObject({ verdict: 'accepted', refusal: null });
    expect(power(store, unit).start().started).toMatchObject({ state: 'on trial' });
    expect(equal(running(store, unit, 0, 5000), made.images[0]!)).toBe(true);
  }
});

describe('what was altered on the way', () => {
  const recipients = [toUnit(own)];

  test('RFC 9459 8: with a staging area AES-CTR is stored, compared, and then only decrypted; what runs is not touched', async () => {
    const unit = unitWithKey(chain, own, { shape: 'staged' });
    const store = newUnit(unit.record);
    const before = running(store, unit, 0, 6000);
    const altered = await encryptedRelease({
      shape: 'staged',
      recipients,
      seal: signedBy(chain),
      onTheWay: flip(70),
    });
    expect(power(store, unit).install(offer(altered)).refusal).toMatchObject({
      code: 'ciphertext-digest-wrong',
      step: 'content',
    });
    expect(equal(running(store, unit, 0, 6000), before)).toBe(true);
    expect(
      power(store, unit)
        .marks()
        ?.slots.map(({ state }) => state),
    ).toEqual(['empty', 'empty']);
    const started = power(store, unit).start();
    expect(started.refusal?.code).toBe('nothing-to-start');
  });

  test('without one it is decrypted into the free slot only, refused by its digest, and tried a bounded number of times', async () => {
    const unit = unitWithKey(chain, own);
    const store = newUnit(unit.record);
    const seal = signedBy(chain);
    const first = await encryptedRelease({ recipients, seal, sequenceNumber: 1 });
    power(store, unit).install(offer(first));
    power(store, unit).start();
    power(store, unit).keep();
    const next = { recipients, seal, sequenceNumber: 2 };
    const altered = await encryptedRelease({ ...next, onTheWay: flip(70) });
    for (let i = 0; i < unit.record.trial_attempts; i++) {
      const { refusal } = power(store, unit).install(offer(altered));
      expect(refusal).toMatchObject({ code: 'image-digest-wrong', step: 'image' });
      expect(equal(running(store, unit, 0, 5000), first.images[0]!)).toBe(true);
    }
    const erasures = store.bytes.slice();
    expect(power(store, unit).install(offer(altered)).refusal?.code).toBe('fell-back-before');
    expect(equal(store.bytes, erasures)).toBe(true);
    expect(power(store, unit).start().started).toMatchObject({ image: 'A', state: 'kept' });
    const sealedAnew = await encryptedRelease(next);
    expect(power(store, unit).install(offer(sealedAnew)).verdict).toBe('accepted');
  });

  test.each(PROFILES.slice(1))('%s: a tag that does not fit; the slot is empty again', async (profile) => {
    const unit = unitWithKey(makerOf(profile), own, { profile });
    const store = newUnit(unit.record);
    for (const at of [0, 4000, -1]) {
      const altered = await encryptedRelease({
        profile,
        recipients,
        seal: sealOf(profile),
        onTheWay: flip(at),
        sequenceNumber: 10 + Math.abs(at),
      });
      const said = checkForUnit({ ...offer(altered), unit: power(store, unit).view() });
      expect(said.refusal).toMatchObject({ code: 'decryption-failed', step: 'content' });
      expect(power(store, unit).install(offer(altered)).refusal?.code).toBe('decryption-failed');
      expect(
        power(store, unit)
          .marks()
          ?.slots.map(({ state }) => state),
      ).toEqual(['empty', 'empty']);
      expect(power(store, unit).start().refusal?.code).toBe('nothing-to-start');
    }
  });
});

describe('interrupted by a cut in power', () => {
  const images = [imageOf(60_000, 4)];

  test.each([
    ['remapped', 'suit-sha256-esp256-ecdh-a128ctr', 'resumed at page'],
    ['remapped', 'suit-sha256-esp256-ecdh-a128gcm', 'resumed at page 0'],
    ['staged', 'suit-sha256-esp256-ecdh-a128ctr', 'resumed at page'],
    ['staged', 'suit-sha256-esp256-ecdh-a128gcm', 'resumed at page'],
  ] as const)('[FE] 8: %s, %s: the install goes on: %s', async (shape, profile, says) => {
    const unit = unitWithKey(chain, own, { shape, profile });
    const store = newUnit(unit.record);
    const made = await encryptedRelease({
      shape,
      profile,
      images,
      recipients: [toUnit(own)],
      seal: signedBy(chain),
    });
    const cut = { after: 4000, kind: 'middle' } as const;
    expect(() => power(store, unit, cut).install(offer(made))).toThrow(PowerCut);
    const again = power(store, unit).install(offer(made));
    expect(again).toMatchObject({ verdict: 'accepted', facts: { effect: 'resume' } });
    const told = again.steps.flatMap(({ comparisons }) => comparisons).map(({ found }) => String(found));
    expect(told.some((found) => found.includes(says))).toBe(true);
    expect(power(store, unit).start().started).toMatchObject({ state: 'on trial' });
    expect(equal(running(store, unit, 0, 60_000), images[0]!)).toBe(true);
  });

  test.each(PROFILES.slice(0, 2))(
    '%s: a copy that decrypts goes on at the next start, wherever it stopped',
    async (profile) => {
      const unit = unitWithKey(chain, own, { shape: 'staged', profile });
      const begin = newUnit(unit.record);
      const made = await encryptedRelease({
        shape: 'staged',
        profile,
        images,
        recipients: [toUnit(own)],
        seal: signedBy(chain),
      });
      power(begin, unit).install(offer(made));
      const installed = begin.bytes.slice();
      const whole = power(begin, unit);
      whole.start();
      const operations = whole.flash.operations;
      for (let after = 0; after < operations; after += Math.ceil(operations / 40)) {
        const store = memoryStore(installed.length);
        store.bytes.set(installed);
        for (const kind of ['before', 'middle', 'after'] as const) {
          store.bytes.set(installed);
          expect(() => power(store, unit, { after, kind }).start()).toThrow(PowerCut);
          expect(power(store, unit).start().started?.image).toBe('run');
          expect(equal(running(store, unit, 0, 60_000), images[0]!)).toBe(true);
        }
      }
    },
  );
});

test('a staged image whose content key no longer opens is passed over: the slot that runs is not touched', async () => {
  const unit = unitWithKey(chain, own, { shape: 'staged' });
  const store = newUnit(unit.record);
  const made = await encryptedRelease({ shape: 'staged', recipients: [toUnit(own)], seal: signedBy(chain) });
  power(store, unit).install(offer(made));
  const { passedOver } = power(store, { ...unit, unwrappers: [] }).start();
  expect(passedOver.map(({ refusal }) => refusal.code)).toEqual(['stored-decryption-wrong']);
});

import { describe, expect, test } from 'vitest';
import { equal, fromHex, sourceOf } from '../../src/bytes/index.ts';
import {
  beginLife,
  type Cut,
  checkForUnit,
  createUnitFile,
  HEADER_SIZE,
  memoryStore,
  openUnit,
  openUnitFile,
  PowerCut,
  type Store,
  type UnitView,
  unitFileLayout,
} from '../../src/unit/index.ts';
import {
  composedMap,
  composedUnit,
  marlChain,
  type Part,
  radioRelease,
  wholeRelease,
} from '../unit/composed.ts';
import { imageOf, makerChain, signedAt, signedBy } from '../unit/maker.ts';
import { seededNoise } from './noise.ts';

const own = await makerChain();
const marl = await marlChain();
const unit = composedUnit(own, marl);
const MARKS_KEY = '5a'.repeat(32);

function newUnit(of: UnitView = unit): Store & { readonly bytes: Uint8Array } {
  const { record } = of;
  const store = memoryStore(unitFileLayout(record.memory).size);
  const file = createUnitFile(store, { record, marksKey: { trial_hex: MARKS_KEY } });
  beginLife(record, file.flash({ noise: seededNoise(1) }), fromHex(MARKS_KEY));
  return store;
}

function power(store: Store, cut?: Cut) {
  const { record, memory, flash } = openUnitFile(store);
  const marksKey = fromHex(MARKS_KEY);
  return openUnit({
    record,
    macKeys: new Map(),
    marksKey,
    flash: flash({ noise: seededNoise(2), cut }),
    memory,
  });
}

const offer = ({ envelope }: Part) => ({ envelope: sourceOf(envelope) });

/** A release `number` with a radio release of its own. */
async function both(
  number: number,
  radioNumber = number,
  securityVersion = 0,
): Promise<Part & { radio: Part }> {
  const radio = await radioRelease({
    seal: securityVersion > 0 ? signedAt(marl, securityVersion) : signedBy(marl),
    sequenceNumber: radioNumber,
    image: imageOf(3000 + number, 20 + radioNumber),
  });
  const image = imageOf(9000 + number, number);
  return { ...(await wholeRelease({ seal: signedBy(own), radio, image, sequenceNumber: number })), radio };
}

function bringAndKeep(store: Store, release: Part): void {
  expect(power(store).install(offer(release))).toMatchObject({ verdict: 'accepted', refusal: null });
  expect(power(store).start().started?.state).toBe('on trial');
  expect(power(store).keep().verdict).toBe('accepted');
}

const layout = unitFileLayout(unit.record.memory).flash;

/** Changes one bit of the flash of a unit file. */
function flip(store: { readonly bytes: Uint8Array }, offset: number): void {
  store.bytes[HEADER_SIZE + offset]! ^= 1;
}

describe('a unit with a radio: both images are installed, started, kept and left together', () => {
  test('install, start on trial, keep, update, fall back', async () => {
    const [first, second] = [await both(1), await both(2)];
    const store = newUnit();
    bringAndKeep(store, first);
    const installed = power(store).install(offer(second));
    expect(installed.steps.map(({ outcome }) => outcome)).toEqual(new Array(10).fill('passed'));
    expect(power(store).start().started).toMatchObject({ image: 'B', state: 'on trial' });
    const back = power(store).start();
    expect(back.passedOver.map(({ refusal }) => refusal.code)).toEqual(['trial-ran-out']);
    expect(back.started).toMatchObject({ image: 'A', state: 'kept' });
    const [area] = layout.components;
    const radioOf = ({ radio }: { radio: Part }) => radio.image;
    const held = (slot: number, length: number) =>
      store.bytes.subarray(HEADER_SIZE + area![slot]!.offset, HEADER_SIZE + area![slot]!.offset + length);
    expect(equal(held(0, radioOf(first).length), radioOf(first))).toBe(true);
  });

  test('a bit in the radio image: its slot is passed over, the other one starts with the radio that belongs to it', async () => {
    const store = newUnit();
    bringAndKeep(store, await both(1));
    bringAndKeep(store, await both(2));
    flip(store, layout.components[0]![1].offset + 5);
    const { started, passedOver } = power(store).start();
    expect(passedOver.map(({ slot, refusal }) => [slot, refusal.code])).toEqual([
      ['B', 'stored-image-wrong'],
    ]);
    expect(started).toMatchObject({ image: 'A', state: 'kept' });
    expect(power(store).keep()).toMatchObject({ already: true });
    flip(store, layout.components[0]![0].offset + 5);
    expect(power(store).keep().refusal?.code).toBe('floor-would-strand');
    expect(power(store).start().refusal?.code).toBe('nothing-to-start');
  });

  test('the kept envelope of the radio is judged at every start: its signature, and whose it is', async () => {
    const release = await both(1);
    const store = newUnit();
    bringAndKeep(store, release);
    const area = layout.envelopes[0];
    const kept = store.bytes.subarray(HEADER_SIZE + area.offset, HEADER_SIZE + area.offset + area.size);
    const signature = release.radio.envelope.subarray(120, 150);
    const at = Buffer.from(kept).indexOf(Buffer.from(signature));
    expect(at).toBeGreaterThan(0);
    flip(store, area.offset + at);
    const codes = power(store)
      .start()
      .passedOver.map(({ refusal }) => refusal.code);
    expect(codes).toEqual(['stored-manifest-wrong']);
  });

  test('a power cut anywhere, then the same release resumes; until the mark none of it counts', async () => {
    const [first, second] = [await both(1), await both(2)];
    const base = newUnit();
    bringAndKeep(base, first);
    power(base).start();
    for (const after of [5, 600, 1130, 1200, 1530, 1560]) {
      const store = memoryStore(base.bytes.length, base.bytes);
      expect(() => power(store, { after, kind: 'middle' }).install(offer(second))).toThrow(PowerCut);
      expect(power(store).start().started).toMatchObject({ image: 'A', state: 'kept' });
      expect(power(store).install(offer(second))).toMatchObject({ verdict: 'accepted', refusal: null });
      expect(power(store).start().started).toMatchObject({ image: 'B', state: 'on trial' });
    }
  });

  test('check and install say the same', async () => {
    const store = newUnit();
    const release = await both(1);
    const said = checkForUnit({ ...offer(release), unit: power(store).view() });
    expect(said.verdict).toBe('accepted');
    const done = power(store).install(offer(release));
    expect(said.steps.map(({ outcome }) => outcome)).toEqual(
      done.steps.slice(0, 9).map(({ outcome }) => outcome),
    );
    expect(power(store).install(offer(release))).toMatchObject({ facts: { effect: 'already there' } });
  });

  test('a radio image that is not the sealed one leaves the slot empty', async () => {
    const store = newUnit();
    const radio = await radioRelease({ seal: signedBy(marl), payload: imageOf(3000, 99) });
    const result = power(store).install(offer(await wholeRelease({ seal: signedBy(own), radio })));
    expect(result.refusal).toMatchObject({ code: 'image-digest-wrong', step: 'image' });
    expect(power(store).start().refusal?.code).toBe('nothing-to-start');
  });

  test('a detached radio image of another length is refused before anything is programmed', async () => {
    const store = newUnit();
    const radio = await radioRelease({ seal: signedBy(marl), uri: 'https://marl.example/radio.bin' });
    const whole = await wholeRelease({ seal: signedBy(own), radio });
    const before = store.bytes.slice();
    expect(power(store).install(offer(whole)).verdict).toBe('incomplete');
    const components = new Map([['radio', sourceOf(imageOf(3001))]]);
    expect(power(store).install({ ...offer(whole), components }).refusal?.code).toBe('image-length-wrong');
    expect(equal(store.bytes, before)).toBe(true);
  });
});

describe('a new release around an old radio', () => {
  test('an older release of the author is refused, the same one is taken (step 5)', async () => {
    const store = newUnit();
    bringAndKeep(store, await both(1, 5));
    expect(power(store).install(offer(await both(2, 4))).refusal).toMatchObject({
      code: 'sequence-number-too-low',
      step: 'freshness',
    });
    bringAndKeep(store, await both(3, 5));
  });

  test('so is one of a lower security version', async () => {
    const store = newUnit();
    bringAndKeep(store, await both(1, 1, 3));
    expect(power(store).install(offer(await both(2, 2, 2))).refusal?.code).toBe(
      'security-version-below-floor',
    );
    bringAndKeep(store, await both(3, 3, 3));
  });
});

test('a unit that starts the radio itself', async () => {
  const starting = composedUnit(own, marl, { memory: composedMap(true) });
  const store = newUnit(starting);
  const radio = await radioRelease({ seal: signedBy(marl), start: true });
  bringAndKeep(store, await wholeRelease({ seal: signedBy(own), radio }));
  expect(power(store).start().started).toMatchObject({ image: 'A', state: 'kept' });
});

/**
 * Deltas on a unit: docs/deployment-profile.md section 14, RFC 9124 sections 4.2.10 and 4.3.9, RFC 3284. What is refused
 * here is refused before anything is written; test/unit-life/delta.test.ts installs.
 */
import { describe, expect, test } from 'vitest';
import { concat, fromHex, sourceOf } from '../../src/bytes/index.ts';
import type { SlotShape } from '../../src/image/index.ts';
import type { CommandDescription, SequenceDescription } from '../../src/suit/index.ts';
import { checkForUnit, type RefusalCode, type UnitView } from '../../src/unit/index.ts';
import { edited } from '../delta/helpers.ts';
import { type DeltaOptions, deltaOf, deltaRelease, memoryFor, WINDOW } from './deltas.ts';
import { imageOf, makerChain, release, signedBy, unitOf } from './maker.ts';

const chain = await makerChain();
const seal = signedBy(chain);
const OLD = imageOf(20_000, 3);
const NEW = edited(OLD, 7, 12);
const REST = new Uint8Array(300).fill(0xff);

/** A unit whose running slot begins with `runs`. */
function unitRunning(runs: Uint8Array | undefined, shape: SlotShape = 'remapped', running = 0): UnitView {
  const unit = unitOf(chain, { record: { memory: memoryFor(shape) } });
  if (!runs) return unit;
  return {
    ...unit,
    state: { ...unit.state, running },
    precursor: sourceOf(concat(runs, REST)),
  };
}

const offer = (unit: UnitView, { envelope }: { envelope: Uint8Array }, image?: Uint8Array) =>
  checkForUnit({ unit, envelope: sourceOf(envelope), image: image && sourceOf(image) });
const make = (changes: Partial<DeltaOptions> = {}) =>
  deltaRelease({ images: [NEW], precursors: [OLD], seal, ...changes });

describe('RFC 9124 4.3.9: the precursor decides', () => {
  test.each(['remapped', 'position-independent', 'staged'] as const)(
    '%s: where what runs is the precursor, the delta makes the image',
    async (shape) => {
      const said = offer(unitRunning(OLD, shape), await make({ shape }));
      expect(said).toMatchObject({
        verdict: 'accepted',
        refusal: null,
        facts: { delta: { window: WINDOW } },
      });
    },
  );

  test('linked slots: the slot that is free decides which delta, each for what runs in the other', async () => {
    const [oldA, oldB] = [OLD, imageOf(20_100, 5)];
    const images = [edited(oldA, 8, 9), edited(oldB, 9, 9)];
    const made = await make({ shape: 'linked', images, precursors: [oldB, oldA] });
    expect(offer(unitRunning(oldA, 'linked', 0), made)).toMatchObject({
      verdict: 'accepted',
      facts: { slot: 'B' },
    });
    expect(offer(unitRunning(oldB, 'linked', 1), made)).toMatchObject({
      verdict: 'accepted',
      facts: { slot: 'A' },
    });
    expect(offer(unitRunning(oldB, 'linked', 0), made).refusal?.code).toBe('precursor-wrong');
  });

  test.each([
    ['another image', edited(OLD, 2, 1)],
    ['the new image already', NEW],
    ['nothing', undefined],
    ['a shorter slot', OLD.subarray(0, 9000)],
  ])('%s: refused at step 7, fit, where the whole image is not at hand', async (_, runs) => {
    const { refusal, steps } = offer(unitRunning(runs), await make());
    expect(refusal).toMatchObject({ code: 'precursor-wrong', step: 'fit' });
    expect(steps.find(({ step }) => step === 'content')?.outcome).toBe('not reached');
  });

  test('the whole image of the same release is taken where it is at hand', async () => {
    const unit = unitRunning(edited(OLD, 2, 1));
    const said = offer(unit, await make(), NEW);
    expect(said).toMatchObject({ verdict: 'accepted', refusal: null });
    expect(said.facts.delta).toBeUndefined();
    expect(offer(unit, await make(), NEW.subarray(1)).refusal?.code).toBe('image-length-wrong');
  });

  test('a whole image that comes along with a delta that fits is not used', async () => {
    const said = offer(unitRunning(OLD), await make(), new Uint8Array(5));
    expect(said.verdict).toBe('accepted');
    expect(said.facts.warnings).toEqual([expect.stringContaining('not used')]);
  });
});

describe('what a unit was not built for', () => {
  test('[M] 6.1: a unit that sets no memory aside refuses the parameter by name', async () => {
    const unit = unitOf(chain);
    expect(offer(unit, await make()).refusal).toMatchObject({
      code: 'parameter-unsupported',
      step: 'manifest',
    });
  });

  test('RFC 3284 4.3: windows larger than what is set aside', async () => {
    const deltas = [deltaOf(OLD, NEW, WINDOW + 1)];
    expect(offer(unitRunning(OLD), await make({ deltas })).refusal).toMatchObject({
      code: 'delta-window-too-large',
      step: 'fit',
    });
  });

  test('the same release without a delta is taken by both', async () => {
    const made = await release({ images: [NEW], seal, sequenceNumber: 8 });
    for (const unit of [unitRunning(OLD), unitOf(chain)]) expect(offer(unit, made).verdict).toBe('accepted');
  });
});

describe('what comes is compared before it is applied', () => {
  test.each([
    ['a bit', (delta: Uint8Array) => delta.map((byte, i) => (i === 40 ? byte ^ 1 : byte))],
    ['cut short', (delta: Uint8Array) => delta.subarray(0, -1)],
    ['longer', (delta: Uint8Array) => concat(delta, new Uint8Array(1))],
    ['another delta from the same precursor', () => deltaOf(OLD, edited(OLD, 5, 3))],
  ])('altered on the way: %s', async (_, onTheWay) => {
    expect(offer(unitRunning(OLD), await make({ onTheWay })).refusal).toMatchObject({
      code: 'delta-altered',
      step: 'content',
    });
  });

  const MAGIC = 'd6c3c40000';
  /** 20,000 bytes of one value out of 12: RUN with a size of three digits. */
  const bomb = fromHex(`${MAGIC}00 0a 819c20 00 01 04 00 aa 00819c20`.replaceAll(' ', ''));
  test.each<[string, Uint8Array]>([
    ['no VCDIFF', imageOf(40)],
    ['a target of another size', deltaOf(OLD, NEW.subarray(1))],
    ['a window beyond the one that is announced', bomb],
    ['a precursor that ends earlier', deltaOf(concat(OLD, NEW), NEW)],
    ['a window that copies from the target', fromHex(`${MAGIC}020000050000000000`)],
    ['a secondary compressor', fromHex('d6c3c4000100')],
    ['nothing behind the header', fromHex(MAGIC)],
  ])('sealed wrongly, seen in the window headers: %s', async (_, delta) => {
    const wrongly = { deltas: [delta], wrongly: <T>(each: T) => ({ ...each, windowBytes: WINDOW }) };
    expect(offer(unitRunning(OLD), await make(wrongly)).refusal).toMatchObject({
      code: 'delta-malformed',
      step: 'content',
    });
  });

  test('sealed wrongly, seen in an instruction', async () => {
    const deltas = [deltaOf(OLD, NEW).map((byte, i, all) => (i === all.length - 1 ? byte ^ 0x7f : byte))];
    const { refusal } = offer(unitRunning(OLD), await make({ deltas }));
    expect(['delta-malformed', 'image-digest-wrong']).toContain(refusal?.code);
  });

  test('a delta that makes another image than the one that was sealed', async () => {
    const other = NEW.map((byte, i) => (i === 9000 ? byte ^ 1 : byte));
    expect(offer(unitRunning(OLD), await make({ deltas: [deltaOf(OLD, other)] })).refusal).toMatchObject({
      code: 'image-digest-wrong',
      step: 'image',
    });
  });
});

describe('manifests that no sealer of ours makes', () => {
  /** The commands of the first branch, the one by delta, changed. */
  const branch = (
    change: (commands: SequenceDescription) => CommandDescription[],
  ): Partial<DeltaOptions> => ({
    described: (description) => ({
      ...description,
      sequences: new Map(description.sequences).set('install', [
        { code: 12, argument: { type: 'index', selection: 0 } },
        ...change(firstBranch(description.sequences.get('install')!)),
      ]),
    }),
  });
  const drop = (...indices: number[]) => branch((all) => all.filter((_, i) => !indices.includes(i)));

  test.each<[string, Partial<DeltaOptions>, RefusalCode]>([
    ['the precursor is not compared', drop(0, 1, 2), 'install-failed'],
    ['the delta is not compared', drop(6), 'install-failed'],
    [
      'the precursor is written to',
      branch((all) => [...all.slice(0, 3), all[4]!, all[5]!]),
      'install-failed',
    ],
    ['nothing says where the delta comes from', drop(4), 'image-source-missing'],
  ])('%s', async (_, changes, code) => {
    expect(offer(unitRunning(OLD), await make(changes)).refusal?.code).toBe(code);
  });

  test('no other way, and the wrong precursor', async () => {
    const made = await make(branch((all) => [...all]));
    expect(offer(unitRunning(OLD), made).verdict).toBe('accepted');
    expect(offer(unitRunning(NEW), made, NEW).refusal?.code).toBe('precursor-wrong');
  });
});

function firstBranch(commands: SequenceDescription): SequenceDescription {
  const found = commands.find(({ code }) => code === 15)!;
  if (found.argument.type !== 'branches') throw new TypeError('no branches');
  return found.argument.branches[0]!;
}

/**
 * The power goes at every flash operation of the device kit's install, start and keep: before it, in its middle, after it. Whatever
 * was cut, a genuine image runs at the next start, and the release can be installed, started and kept.
 */
import { describe, expect, it } from 'vitest';
import { runCases, type Target } from '../../scripts/device/runner.ts';
import {
  cut,
  flashDigest,
  flashOf,
  install,
  type KitOffer,
  keep,
  powerOn,
  type Running,
  start,
} from '../../scripts/device/unit-cases.ts';
import { classRecord } from '../../scripts/device/unit-record.ts';
import { FUZZ_CLASS_KEY } from '../../scripts/fuzz/payloads/authority.ts';
import { KEPT_NUMBER, OFFERED_NUMBER } from '../../scripts/fuzz/payloads/offer.ts';
import { power } from '../../scripts/fuzz/payloads/power.ts';
import type { Rig } from '../../scripts/fuzz/payloads/rig.ts';
import { makeRigs } from '../../scripts/fuzz/payloads/rigs.ts';
import { toHex } from '../../src/bytes/index.ts';
import { memoryStore } from '../../src/unit/index.ts';
import { DEEP } from './both.ts';
import { toolchainPresent } from './toolchain.ts';

const OK = 'a5c33c96';
const CONFIRMED = '5a1ec769';
const KINDS = ['before', 'middle', 'middle', 'after'] as const;
const MAC_KEYS = new Map([[toHex(FUZZ_CLASS_KEY.id), FUZZ_CLASS_KEY.key]]);
/** What units of the rig keep their marks under. */
const MARKS_KEY = new Uint8Array(32).fill(0x77);
/** Signatures take most of the time, and no part in what a cut leaves: units with them are cut by `npm run device:deep`. */
const NAMES = ['hmac, remapped', 'hmac, staged', ...(DEEP ? ['esp256, remapped', 'ed25519, linked'] : [])];

/** What is cut: the flash before it, what runs then, and the order. */
interface Moment {
  readonly what: 'install' | 'start' | 'keep';
  readonly content: Uint8Array;
  readonly running: Running;
  readonly order: Uint8Array;
}

const rigs = toolchainPresent ? (await makeRigs()).filter(({ name }) => NAMES.includes(name)) : [];

function contentOf({ record }: Rig, store: Uint8Array): Uint8Array {
  const { flash } = power(record, memoryStore(store.length, store), {});
  return flash.read(0, flash.size);
}

function momentsOf(rig: Rig, offer: KitOffer): Moment[] {
  const trialSlot = rig.shape === 'staged' ? 0 : 1;
  return [
    { what: 'install', content: contentOf(rig, rig.kept), running: 0, order: install(offer) },
    { what: 'start', content: contentOf(rig, rig.ready), running: undefined, order: start() },
    { what: 'keep', content: contentOf(rig, rig.onTrial), running: trialSlot, order: keep() },
  ];
}

/** How many flash operations an order takes where nothing is cut. */
function operationsOf(target: Target, rig: Rig, { content, running, order }: Moment): number {
  const records = [classRecord(unitOf(rig)), flashOf(content), powerOn(true, running), order, flashDigest()];
  return Number(runCases(target, 'runner', records).at(-1)!.split(' ')[1]);
}

const unitOf = ({ record }: Rig) => ({ record, macKeys: MAC_KEYS, marksKey: MARKS_KEY });

/** What happens after a cut: a start, a keep, the install once more, a start, a keep, a start. */
const afterwards = (offer: KitOffer) => [
  ...[powerOn(false, undefined), start(), keep(), install(offer)],
  ...[powerOn(false, undefined), start(), keep(), powerOn(false, undefined), start()],
];
const LINES = 11;

/** What went wrong after one cut, or undefined. */
function faultOf([, cutOrder, , first, kept, installed, , second, keptNow, , last]: readonly string[]) {
  const runs = (line: string, numbers: readonly number[], onTrial?: string) => {
    const [status, confirmed, , trial, number] = line.split(' ');
    const good = status === OK && confirmed === CONFIRMED && numbers.includes(Number(number));
    return good && (onTrial === undefined || trial === onTrial);
  };
  if (cutOrder !== 'power-cut') return `not cut: ${cutOrder}`;
  if (!runs(first!, [KEPT_NUMBER, OFFERED_NUMBER])) return `after the cut: ${first}`;
  if (kept !== OK) return `what runs after the cut cannot be kept: ${kept}`;
  if (!installed!.startsWith(OK)) return `the release cannot be installed any more: ${installed}`;
  if (!runs(second!, [OFFERED_NUMBER])) return `the release does not start: ${second}`;
  if (keptNow !== OK) return `the release cannot be kept: ${keptNow}`;
  return runs(last!, [OFFERED_NUMBER], '0') ? undefined : `the release is not kept: ${last}`;
}

/** Cuts an order at each of its flash operations. Gives how many cuts there were, and what went wrong. */
function cutEverywhere(target: Target, rig: Rig, moment: Moment, offer: KitOffer) {
  const operations = operationsOf(target, rig, moment);
  const cuts = Array.from({ length: operations }, (_, after) =>
    KINDS.map((kind, i) => ({ kind, after, noise: 2 * after + i + 1 })),
  ).flat();
  const records = cuts.flatMap(({ kind, after, noise }) => [
    ...[powerOn(true, moment.running), cut(kind, after, noise), moment.order],
    ...afterwards(offer),
  ]);
  const head = [classRecord(unitOf(rig)), flashOf(moment.content)];
  const lines = runCases(target, 'runner', [...head, ...records]);
  const faults = cuts.flatMap(({ kind, after }, i) => {
    const fault = faultOf(lines.slice(i * LINES, (i + 1) * LINES));
    return fault ? [`${kind} operation ${after} of ${operations}: ${fault}`] : [];
  });
  return { operations, faults };
}

describe.skipIf(!toolchainPresent)('the power goes at every flash operation', () => {
  const targets = ['sanitized', ...(DEEP ? (['cortex-m'] as const) : [])] as const;
  const cases = targets.flatMap((target) => rigs.map((rig) => [rig.name, target, rig] as const));

  it.each(cases)(
    '%s, %s: a genuine image runs, and the release can be installed and kept',
    (_, target, rig) => {
      const { envelope, image } = rig.offers[0]!;
      const offer = { envelope, image };
      for (const moment of momentsOf(rig, offer)) {
        const { operations, faults } = cutEverywhere(target, rig, moment, offer);
        expect(faults, moment.what).toEqual([]);
        expect(operations, moment.what).toBeGreaterThan(moment.what === 'install' ? 40 : 3);
      }
    },
  );
});

import { equal } from '../bytes/index.ts';
import { SHA_256 } from '../suit/index.ts';
import type { KeepResult, RefusalCode, Started, StartResult, UnitRecord } from '../unit/index.ts';
import { failure, finished, NOTHING_NAMED, pending, type ReportOptions } from './finish.ts';
import { claimOf, measureSlot, type SlotMemory, type UnitMemory } from './memory.ts';
import { UNFINISHED } from './outcomes.ts';
import { fetchPlace, NOWHERE, placeOf } from './places.ts';
import type { PropertyClaim, ReportedFailure, SuitReference, SuitReport } from './report.ts';

/**
 * The report of a start. `before`: what the unit remembered before it. Where a slot was passed over the report is about
 * the first of them, and what runs instead stands among the claims.
 */
export function reportOfStart(
  result: StartResult,
  before: UnitMemory,
  options: ReportOptions = {},
): SuitReport {
  const { started, passedOver, steps } = result;
  const { record } = before;
  const slotNamed = (wanted: string) => before.slots.find(({ name }) => name === wanted);
  const running = started?.facts && holderOf(before, started.facts.manifestDigest);
  const claims = running && started ? verified(running, started, record) : [];
  const [first] = passedOver;
  if (first) {
    const slot = slotNamed(first.slot);
    const { code } = first.refusal;
    const why = failure(code, placeOf(code, slot?.manifest), steps, record);
    return finished({ record, reference: referenceTo(slot), claims, result: why }, options);
  }
  if (!running) return nothingRuns(before, options);
  const done = started?.state === 'kept' ? true : pending(running.manifest);
  return finished({ record, reference: referenceTo(running), claims, result: done }, options);
}

/** The slot that holds a manifest; before a start that may be the staging area. */
function holderOf({ slots }: UnitMemory, digest: Uint8Array): SlotMemory | undefined {
  return slots.find(({ state, manifestDigest }) => state !== 'empty' && equal(manifestDigest, digest));
}

/** The report of keeping an image: only now does a unit claim success. `memory`: the unit afterwards. */
export function reportOfKeep(
  { refusal, steps }: KeepResult,
  memory: UnitMemory,
  options: ReportOptions = {},
): SuitReport {
  const { record, running } = memory;
  const slot = typeof running === 'number' ? memory.slots[running] : undefined;
  const result = refusal ? failure(refusal.code, NOWHERE, steps, record) : true;
  return finished({ record, reference: referenceTo(slot), claims: measured(slot, record), result }, options);
}

const AT_WORK: readonly SlotMemory['state'][] = ['on trial', 'ready', 'kept', 'filling'];

/**
 * The report of what a unit remembers about the manifest that is at work: on trial, ready to start, running or the newest
 * that was kept, being installed.
 */
export function reportOfState(memory: UnitMemory, options: ReportOptions = {}): SuitReport {
  const { slots, running } = memory;
  const [slot] = slots
    .filter(({ state }) => state !== 'empty')
    .toSorted((a, b) => rank(a) - rank(b) || (a.index === running ? -1 : newestFirst(a, b)));
  return slot ? reportOfSlot(slot, memory, options) : nothingRuns(memory, options);
}

function rank({ state }: SlotMemory): number {
  return AT_WORK.indexOf(state);
}

function newestFirst(a: SlotMemory, b: SlotMemory): number {
  return a.sequenceNumber > b.sequenceNumber ? -1 : 1;
}

/**
 * The report of what a unit remembers about one manifest, by its digest: in a slot, or fallen back. Undefined where it
 * knows nothing of it.
 */
export function reportAbout(
  memory: UnitMemory,
  digest: Uint8Array,
  options: ReportOptions = {},
): SuitReport | undefined {
  const slot = holderOf(memory, digest);
  if (slot) return reportOfSlot(slot, memory, options);
  if (!memory.fallen.some(({ manifestDigest }) => equal(manifestDigest, digest))) return undefined;
  const reference = { uri: '', digest: { algorithm: SHA_256, bytes: digest } };
  return finished({ ...refused('trial-ran-out', memory), reference }, options);
}

function reportOfSlot(slot: SlotMemory, { record }: UnitMemory, options: ReportOptions): SuitReport {
  const told = { record, reference: referenceTo(slot), claims: measured(slot, record) };
  return finished({ ...told, result: resultOf(slot) }, options);
}

function resultOf({ state, manifest }: SlotMemory): true | ReportedFailure {
  if (state === 'kept') return true;
  return state === 'filling' ? { ...UNFINISHED, record: fetchPlace(manifest) } : pending(manifest);
}

/** No slot runs or could run: the recovery image does not count, it only fetches. */
function nothingRuns(memory: UnitMemory, options: ReportOptions): SuitReport {
  const code = memory.slots.length === 0 ? 'marks-unreadable' : 'nothing-to-start';
  return finished({ ...refused(code, memory), reference: NOTHING_NAMED }, options);
}

function refused(code: RefusalCode, { record }: UnitMemory) {
  return { record, result: failure(code, NOWHERE, [], record) };
}

function referenceTo(slot: SlotMemory | undefined): SuitReference {
  if (!slot || slot.state === 'empty') return NOTHING_NAMED;
  return {
    uri: slot.manifest?.referenceUri ?? '',
    digest: { algorithm: SHA_256, bytes: slot.manifestDigest },
  };
}

/** What the start itself measured. */
function verified(
  { manifest }: SlotMemory,
  { image, facts }: Started,
  { memory }: UnitRecord,
): PropertyClaim[] {
  const slot = memory.slots.findIndex(({ name }) => name === image);
  return manifest && facts
    ? [claimOf(manifest, { slot, size: facts.imageSize, digest: facts.imageDigest })]
    : [];
}

function measured(slot: SlotMemory | undefined, record: UnitRecord): PropertyClaim[] {
  const claim = slot && measureSlot(slot, record);
  return claim ? [claim] : [];
}

import { fromHex } from '../../bytes/index.ts';
import { parseSize } from '../../image/index.ts';
import {
  emptyState,
  type SlotView,
  type UnitRecord,
  type UnitState,
  type UnitView,
} from '../../unit/index.ts';
import type { ClassOfUnits } from './classes.ts';
import { itemsOf, rootOf } from './fact-rows.ts';
import type { UnitFacts } from './inventory/facts.ts';
import { imageInSlot, type RunningImages } from './running.ts';
import { standInUnwrapper } from './stand-ins.ts';

/** Stands for the digest of a manifest that nobody knows; no SHA-256 is that. */
const UNKNOWN_DIGEST = '00'.repeat(32);

/**
 * The unit that resolved facts describe, as its check sees it. Its keys are stand-ins; of what it runs, the bytes are there
 * where they are among `running`.
 */
export function viewOf(
  facts: UnitFacts,
  ofClass: ClassOfUnits,
  macKey: Uint8Array,
  running: RunningImages,
): UnitView {
  const record = recordOf(facts, ofClass);
  const keyIds = [
    ...(record.content_keys ?? []).map(({ id }) => id),
    ...(facts.decryption_key_id === undefined ? [] : [facts.decryption_key_id]),
  ];
  const state = stateOf(facts, record);
  return {
    record,
    macKeys: new Map(record.mac_keys.map(({ id }) => [id, macKey])),
    unwrappers: keyIds.map(standInUnwrapper),
    state,
    precursor: imageInSlot(running, facts.manifest_digest, state.running ?? 0),
  };
}

function recordOf(facts: UnitFacts, ofClass: ClassOfUnits): UnitRecord {
  const made = ofClass.recordOf(facts.cohort);
  const { hardware_revision: revision } = facts;
  return {
    ...made,
    serial: facts.serial!,
    ...(revision !== undefined && { class_ids: ofClass.identifiersOf(revision) }),
    device_id: facts.device_id ?? made.device_id,
    profile: facts.profile ?? made.profile,
    clock: facts.clock === undefined ? made.clock : facts.clock === 'yes',
    trial: facts.trial === undefined ? made.trial : facts.trial === 'yes',
    debug: facts.debug === 'open' ? 'open' : 'closed',
    anchors: anchorsOf(facts, made, ofClass),
    memory: memoryOf(facts, made),
  };
}

function anchorsOf({ anchors }: UnitFacts, made: UnitRecord, { roots }: ClassOfUnits): UnitRecord['anchors'] {
  if (anchors === undefined) return made.anchors;
  const labels = itemsOf(anchors).map((told) => rootOf(roots, told));
  return made.anchors.filter(({ label }) => labels.includes(label));
}

function memoryOf(
  { slot_size, envelope_area_size }: UnitFacts,
  { memory }: UnitRecord,
): UnitRecord['memory'] {
  const slots =
    slot_size === undefined
      ? memory.slots
      : memory.slots.map((slot) => ({ ...slot, size: parseSize(slot_size) }));
  const envelopes =
    envelope_area_size === undefined
      ? memory.envelopes
      : { ...memory.envelopes, size: parseSize(envelope_area_size) };
  return { ...memory, slots, envelopes };
}

function stateOf(facts: UnitFacts, record: UnitRecord): UnitState {
  const empty = emptyState(record);
  const running = facts.sequence_number === undefined ? undefined : runningSlot(facts, record);
  const slots = record.memory.slots.map((_, i): SlotView => {
    if (i === running) return slot('kept', facts.sequence_number, facts.manifest_digest);
    const { other_slot: state = 'empty' } = facts;
    const isOther = running === undefined ? i === 1 : true;
    return state === 'empty' || !isOther
      ? { state: 'empty' }
      : slot(state as Occupied, facts.other_sequence_number, facts.other_manifest_digest);
  });
  const { fallen_digest, fallen_tries } = facts;
  return {
    ...empty,
    marksRead: facts.marks !== 'lost',
    slots,
    running,
    floors: {
      sequenceNumber: BigInt(facts.sequence_floor ?? empty.floors.sequenceNumber),
      securityVersion: Number(facts.security_version ?? empty.floors.securityVersion),
      signerGeneration: Number(facts.signer_generation ?? empty.floors.signerGeneration),
    },
    deniedSigners: facts.denied_signers === undefined ? empty.deniedSigners : itemsOf(facts.denied_signers),
    fallen:
      fallen_digest === undefined
        ? []
        : [{ manifestDigest: fromHex(fallen_digest), tries: Number(fallen_tries ?? 1) }],
  };
}

type Occupied = Exclude<SlotView['state'], 'empty'>;

function slot(state: Occupied, number: string | undefined, digest: string | undefined): SlotView {
  return {
    state,
    sequenceNumber: BigInt(number ?? 0),
    manifestDigest: fromHex(digest ?? UNKNOWN_DIGEST),
  };
}

function runningSlot({ running_slot }: UnitFacts, { memory }: UnitRecord): number {
  return running_slot === undefined ? 0 : memory.slots.findIndex(({ name }) => name === running_slot);
}

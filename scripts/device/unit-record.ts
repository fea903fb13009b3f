/** A unit's record as the device kit's test runner reads it: what the provisioning header gives a bootloader at build time. */
import { concat, fromHex } from '../../src/bytes/index.ts';
import { parseUuid } from '../../src/suit/index.ts';
import {
  type FlashSpan,
  flashLayout,
  UNIT_PROFILES,
  type UnitParts,
  type UnitRecord,
} from '../../src/unit/index.ts';
import { counted, type Field, listed, record, u8, u32, u64 } from './case-file.ts';

const CLASS = 1;

/** What a unit is made of, and its secrets. */
export interface KitUnit extends Pick<UnitParts, 'record' | 'macKeys' | 'marksKey' | 'recovery'> {
  /** Key-encryption keys by key id in hexadecimal. */
  readonly contentKeys?: ReadonlyMap<string, Uint8Array>;
}

/**
 * Why the kit is not built for units like this one, or undefined where it is: the list of what it leaves out
 * (docs/device-kit.md).
 */
export function leftOut(record: UnitRecord): string | undefined {
  const { authentication, rights, memory, anchors, attestation } = record;
  if (authentication) return 'several signers';
  if (rights) return 'an access control list';
  if (memory.components?.length) return 'further components';
  if (anchors.some(({ purpose }) => purpose === 'dependency')) return 'other authors';
  if (attestation?.self_check) return 'a self-check';
  return undefined;
}

/** The record that makes units like this one the class at hand. */
export function classRecord(unit: KitUnit): Uint8Array {
  const { record: of } = unit;
  const profile = UNIT_PROFILES.find(({ name }) => name === of.profile)!;
  return record(
    CLASS,
    ...[u32(profile.algorithm), parseUuid(of.vendor_id), parseUuid(of.device_id)],
    listed(of.class_ids.map(parseUuid)),
    listed(of.anchors.map(({ name, spki, purpose }) => anchorOf(name, spki, purpose === 'spare'))),
    listed(keysOf(of.mac_keys, unit.macKeys)),
    listed(keysOf(of.content_keys ?? [], unit.contentKeys ?? new Map())),
    listed(of.denied_signers.map(fromHex)),
    ...rulesOf(of),
    ...memoryOf(unit),
    counted(unit.marksKey),
  );
}

function anchorOf(name: string, spki: string, spare: boolean): Field {
  return concat(u8(spare ? 1 : 0), counted(fromHex(name)), counted(fromHex(spki)));
}

/** Keys with their ids, as far as the unit holds them. */
function keysOf(named: readonly { readonly id: string }[], held: ReadonlyMap<string, Uint8Array>): Field[] {
  return named.flatMap(({ id }) => {
    const key = held.get(id);
    return key ? [concat(counted(fromHex(id)), counted(key))] : [];
  });
}

function rulesOf({ trial, clock, trial_attempts, floors }: UnitRecord): Field[] {
  return [
    ...[u8(trial ? 1 : 0), u8(clock ? 1 : 0), u32(trial_attempts)],
    ...[u64(BigInt(floors.sequence_number)), u32(floors.security_version), u32(floors.signer_generation)],
  ];
}

function memoryOf({ record: { memory }, recovery }: KitUnit): Field[] {
  const layout = flashLayout(memory);
  const { erase_page, write_unit, endurance, erased_value } = memory.flash;
  return [
    u8(memory.shape === 'staged' ? 1 : 0),
    ...[...layout.slots, ...layout.envelopes, layout.recovery, layout.state].map(spanOf),
    u8(memory.policy ? 1 : 0),
    ...[u32(recovery?.size ?? 0), recovery?.digest ?? new Uint8Array(32)],
    ...[u32(layout.size), u32(erase_page), u32(write_unit), u32(endurance), u8(erased_value)],
  ];
}

function spanOf(span: FlashSpan | undefined): Field {
  return concat(u32(span?.offset ?? 0), u32(span?.size ?? 0));
}

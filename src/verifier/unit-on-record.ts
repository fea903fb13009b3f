import type { AttestedUnit } from '../attestation/index.ts';
import { fromHex } from '../bytes/index.ts';
import type { MemoryMap } from '../image/index.ts';
import { readIssuedJob } from '../provision/index.ts';
import { listRecords, readRecord, type Workspace } from '../workspace/index.ts';

/** A unit record of the workspace, as far as attestation concerns it. */
interface UnitFacts {
  readonly class: string;
  readonly serial: string;
  readonly device_id: string;
  readonly class_ids: readonly string[];
  readonly batch: string;
  readonly unit_keys: readonly { readonly purpose: string; readonly spki: string }[];
  readonly mac_key_check_values: readonly { readonly id: string }[];
}

/** A unit on record, with what it was provisioned with. */
export interface UnitOnRecord extends Omit<AttestedUnit, 'macKey' | 'lastBootCount'> {
  readonly memory: MemoryMap;
  /** Areas that may be measured; undefined: every area that holds code. */
  readonly regions: readonly string[] | undefined;
  readonly macKeyIds: readonly string[];
}

/** The unit with that serial number, or undefined where none is on record. */
export function unitOnRecord(
  workspace: Workspace,
  className: string,
  serial: string,
): UnitOnRecord | undefined {
  const name = `${className}/${serial}`;
  return listRecords(workspace, 'units', className).includes(name) ? fromRecord(workspace, name) : undefined;
}

/** The unit with that device identifier, or undefined. */
export function unitWithDevice(workspace: Workspace, deviceId: string): UnitOnRecord | undefined {
  const name = listRecords(workspace, 'units').find(
    (each) => readRecord(workspace, 'units', each.split('/')).facts.device_id === deviceId,
  );
  return name === undefined ? undefined : fromRecord(workspace, name);
}

function fromRecord(workspace: Workspace, name: string): UnitOnRecord {
  const facts = readRecord(workspace, 'units', name.split('/')).facts as unknown as UnitFacts;
  const job = readIssuedJob(workspace, facts.batch);
  const key = facts.unit_keys.find(({ purpose }) => purpose === 'attestation');
  return {
    className: facts.class,
    serial: facts.serial,
    vendorId: job.vendor_id,
    classIds: facts.class_ids,
    deviceId: facts.device_id,
    memory: job.memory,
    regions: job.attestation?.regions,
    attestationKey: key && fromHex(key.spki),
    macKeyIds: facts.mac_key_check_values.map(({ id }) => id),
  };
}

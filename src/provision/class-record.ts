import { toHex } from '../bytes/index.ts';
import { generatePrivateKey, publicHalf } from '../keys/index.ts';
import { formatUuid } from '../suit/index.ts';
import { UNIT_FORMAT, type UnitRecord } from '../unit/index.ts';
import { type ClassKey, type DeviceClass, sharesContentKeys, type Workspace } from '../workspace/index.ts';
import { anchorsOf, contentKeyOf, macKeyOf, policyFor } from './issue.ts';
import { UNIT_KEY_PURPOSES } from './job.ts';
import { deviceId } from './station.ts';

/** A secret that stays where it is: the record says that the unit holds it, and does not hold it. */
const CLOSED = { pem: 'not opened' };

/** Which unit of a class. */
export interface UnitOfClass {
  readonly serial: string;
  readonly cohort?: string | undefined;
}

/**
 * The record of a unit as production would leave it today, for asking what units of the class would say. No secret is opened
 * and nothing is written; its own keys are made up. Throws `ProvisionError` key-missing, root-changed.
 */
export function classRecord(
  workspace: Workspace,
  deviceClass: DeviceClass,
  { serial, cohort }: UnitOfClass,
): UnitRecord {
  const anchors = anchorsOf(workspace, deviceClass);
  const symmetric = deviceClass.scheme === 'symmetric';
  const shares = sharesContentKeys(deviceClass);
  const class_ids = deviceClass.classIds.map(formatUuid);
  return {
    format: UNIT_FORMAT,
    serial,
    class_name: deviceClass.name,
    vendor_id: formatUuid(workspace.vendorId),
    class_ids,
    device_id: deviceId({ class_ids }, serial),
    scheme: deviceClass.scheme,
    profile: deviceClass.profile.name,
    clock: deviceClass.clock,
    ...policyFor(deviceClass, anchors),
    anchors,
    mac_keys: symmetric ? [heldKey(macKeyOf(workspace, deviceClass, cohort))] : [],
    unit_keys: UNIT_KEY_PURPOSES.map((purpose) => ({
      purpose,
      spki: toHex(publicHalf(generatePrivateKey('p256'))),
      secret: CLOSED,
    })),
    ...(shares && { content_keys: [heldKey(contentKeyOf(workspace, deviceClass, cohort))] }),
    floors: {
      sequence_number: '0',
      security_version: 0,
      signer_generation: deviceClass.certificatePolicy.minimumSignerGeneration,
    },
    denied_signers: [],
    memory: deviceClass.memory,
    trial_attempts: deviceClass.trialAttempts,
    trial: workspace.kind === 'trial',
    debug: 'closed',
  };
}

function heldKey({ description, cohort }: ClassKey) {
  const { name: label, fingerprint: id } = description;
  return { id, label, ...(cohort !== undefined && { cohort }), secret: CLOSED };
}

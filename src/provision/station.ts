import { fromHex, fromUtf8, toHex } from '../bytes/index.ts';
import { checkValue } from '../keys/index.ts';
import { formatUuid, parseUuid, uuidV5 } from '../suit/index.ts';
import {
  readUnitRecord,
  UNIT_FORMAT,
  type UnitContentKey,
  type UnitKey,
  type UnitMacKey,
  type UnitRecord,
  type UnitSecret,
} from '../unit/index.ts';
import { type AnchorStore, observeOverwrite } from './anchor-store.ts';
import { ProvisionError } from './error.ts';
import type { ProvisionJob } from './job.ts';
import { type ProvisionResult, RESULT_FORMAT, type ReportedUnit } from './result.ts';

/** A MAC key of a job, still wrapped. */
export type WrappedMacKey = ProvisionJob['mac_keys'][number];

/** What a unit holds, in clear while it is on the bench. */
export interface UnitSecrets {
  /** By key id in lower-case hexadecimal, as are the content keys. */
  readonly macKeys: ReadonlyMap<string, Uint8Array>;
  readonly contentKeys: ReadonlyMap<string, Uint8Array>;
  /** DER PrivateKeyInfo. */
  readonly decryptionKey: Uint8Array | undefined;
}

/** What a station needs of the bench it stands at. */
export interface StationPorts {
  /** Takes a MAC key out of its wrapping with the station's own key; the caller zeroes it. */
  unwrap(key: WrappedMacKey): Promise<Uint8Array>;
  /** The write-once memory of the unit now on the bench. */
  anchorStore(): AnchorStore;
  /** Makes a key pair inside the unit: DER SubjectPublicKeyInfo and DER PrivateKeyInfo. */
  makeUnitKey(): { readonly spki: Uint8Array; readonly privateKey: Uint8Array };
  /** How a virtual unit keeps a secret: in clear and marked as trial, or encrypted. */
  keepSecret(secret: Uint8Array, name: string): Promise<UnitSecret>;
  /** The same for a private key, DER PrivateKeyInfo. */
  keepPrivateKey(info: Uint8Array, name: string): Promise<UnitSecret>;
  /**
   * Makes the unit and installs the first firmware, if the job names one. Gives the SHA-256 of the envelope it installed, hexadecimal, or null.
   */
  program(record: UnitRecord, secrets: UnitSecrets): Promise<string | null>;
  now(): Date;
}

/** Device identifier of a unit: UUIDv5 of its serial number under its narrowest class identifier (RFC 9562 5.5). */
export function deviceId(job: Pick<ProvisionJob, 'class_ids'>, serial: string): string {
  return formatUuid(uuidV5(parseUuid(job.class_ids.at(-1)!), fromUtf8(serial)));
}

/**
 * Carries out a job as a station would, unit by unit: writes the anchors and MAC keys, locks them, tries to overwrite them,
 * reads them back, has the unit make its keys, programs the first firmware. Throws `ProvisionError` station-key-wrong
 * where a key's check value is not the announced one, and what the ports throw.
 */
export async function runJob(
  job: ProvisionJob,
  stationName: string,
  ports: StationPorts,
): Promise<ProvisionResult> {
  const macKeys: UnwrappedKey[] = [];
  const contentKeys: UnwrappedKey[] = [];
  try {
    for (const key of job.mac_keys) macKeys.push({ ...key, secret: await unwrapKey(key, ports) });
    for (const key of job.content_keys ?? [])
      contentKeys.push({ ...key, secret: await unwrapKey(key, ports) });
    const units: ReportedUnit[] = [];
    for (const serial of job.serials)
      units.push(await provisionUnit(job, serial, { macKeys, contentKeys }, ports));
    return {
      format: RESULT_FORMAT,
      batch: job.batch,
      station: stationName,
      finished: ports.now().toISOString(),
      units,
    };
  } finally {
    for (const { secret } of [...macKeys, ...contentKeys]) secret.fill(0);
  }
}

type UnwrappedKey = WrappedMacKey & { readonly secret: Uint8Array };

async function unwrapKey(key: WrappedMacKey, ports: StationPorts): Promise<Uint8Array> {
  const secret = await ports.unwrap(key);
  if (toHex(checkValue(secret)) === key.check_value) return secret;
  secret.fill(0);
  throw new ProvisionError(
    'station-key-wrong',
    `The key ${key.label} opens, but its check value is not the one in the job.`,
    'The job was put together from two sources: issue it again.',
  );
}

async function provisionUnit(
  job: ProvisionJob,
  serial: string,
  held: HeldKeys,
  ports: StationPorts,
): Promise<ReportedUnit> {
  const { macKeys, contentKeys } = held;
  const store = ports.anchorStore();
  const locked = [
    ...job.anchors.map(({ name, spki }) => fromHex(name + spki)),
    ...[...macKeys, ...contentKeys].map(({ secret }) => secret),
  ];
  for (const [slot, bytes] of locked.entries()) store.write(slot, bytes);
  store.lock();
  const observations = locked.map((_, slot) => observeOverwrite(store, slot));
  const anchors = job.anchors.map((anchor, slot) => ({
    ...anchor,
    ...readBack(store, slot, anchor.name.length / 2),
  }));
  const { unitKeys, decryptionKey } = await makeUnitKeys(job, ports);
  const record = await makeRecord(job, serial, anchors, unitKeys, held, ports);
  const secrets = { macKeys: byId(macKeys), contentKeys: byId(contentKeys), decryptionKey };
  const first = await ports.program(record, secrets);
  decryptionKey?.fill(0);
  return {
    serial,
    outcome: 'provisioned',
    device_id: record.device_id,
    anchors_read_back: anchors.map(({ label, name, spki }) => ({ label, name, spki })),
    overwrite_attempt: {
      attempted: observations.length > 0,
      observed: observations.includes('overwritten') ? 'overwritten' : 'refused',
    },
    debug: record.debug,
    unit_keys: unitKeys.map(({ purpose, spki }) => ({ purpose, spki })),
    mac_key_check_values: checkValues(macKeys),
    ...(contentKeys.length > 0 && { content_key_check_values: checkValues(contentKeys) }),
    first_envelope_sha256: first,
  };
}

interface HeldKeys {
  readonly macKeys: readonly UnwrappedKey[];
  readonly contentKeys: readonly UnwrappedKey[];
}

function byId(keys: readonly UnwrappedKey[]): Map<string, Uint8Array> {
  return new Map(keys.map(({ id, secret }) => [id, secret]));
}

function checkValues(keys: readonly UnwrappedKey[]): ReportedUnit['mac_key_check_values'] {
  return keys.map(({ id, secret }) => ({ id, check_value: toHex(checkValue(secret)) }));
}

function readBack(store: AnchorStore, slot: number, nameLength: number): { name: string; spki: string } {
  const bytes = store.read(slot);
  return { name: toHex(bytes.subarray(0, nameLength)), spki: toHex(bytes.subarray(nameLength)) };
}

async function makeUnitKeys(
  job: ProvisionJob,
  ports: StationPorts,
): Promise<{ unitKeys: UnitKey[]; decryptionKey: Uint8Array | undefined }> {
  const keys: UnitKey[] = [];
  let decryptionKey: Uint8Array | undefined;
  for (const purpose of job.unit_keys) {
    const { spki, privateKey } = ports.makeUnitKey();
    keys.push({
      purpose,
      spki: toHex(spki),
      secret: await ports.keepPrivateKey(privateKey, `unit ${purpose} key`),
    });
    if (purpose === 'decryption') decryptionKey = new Uint8Array(privateKey);
    privateKey.fill(0);
  }
  return { unitKeys: keys, decryptionKey };
}

async function makeRecord(
  job: ProvisionJob,
  serial: string,
  anchors: UnitRecord['anchors'],
  unitKeys: readonly UnitKey[],
  { macKeys, contentKeys }: HeldKeys,
  ports: StationPorts,
): Promise<UnitRecord> {
  const held = await keepKeys(macKeys, ports);
  const content = await keepKeys(contentKeys, ports);
  return readUnitRecord({
    format: UNIT_FORMAT,
    serial,
    class_name: job.class_name,
    vendor_id: job.vendor_id,
    class_ids: job.class_ids,
    device_id: deviceId(job, serial),
    scheme: job.scheme,
    profile: job.profile,
    clock: job.clock,
    ...(job.authentication && { authentication: job.authentication }),
    ...(job.rights && { rights: job.rights }),
    ...(job.attestation && { attestation: job.attestation }),
    anchors,
    mac_keys: held,
    unit_keys: unitKeys,
    ...(content.length > 0 && { content_keys: content }),
    floors: job.floors,
    denied_signers: job.denied_signers,
    memory: job.memory,
    trial_attempts: job.trial_attempts,
    trial: job.trial,
    debug: 'closed',
  });
}

async function keepKeys(
  keys: readonly UnwrappedKey[],
  ports: StationPorts,
): Promise<(UnitMacKey & UnitContentKey)[]> {
  const kept: (UnitMacKey & UnitContentKey)[] = [];
  for (const { id, label, cohort, secret } of keys) {
    kept.push({
      id,
      label,
      ...(cohort !== undefined && { cohort }),
      secret: await ports.keepSecret(secret, label),
    });
  }
  return kept;
}

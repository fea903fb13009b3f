import { fromHex } from '../bytes/index.ts';
import {
  type AgreementAlgorithm,
  encryptionInfoSize,
  MAX_RECIPIENTS,
  publicKeyRecipient,
  type Recipient,
  recipientSize,
} from '../cose/index.ts';
import { readAgreementKey } from '../crypto/index.ts';
import { openContentKey } from '../keys/index.ts';
import { formatUuid } from '../suit/index.ts';
import { DECRYPTION_KEY_ID_LENGTH, decryptionKeyId } from '../unit/index.ts';
import {
  contentKeys,
  type DeviceClass,
  type JsonObject,
  keyPaths,
  listRecords,
  type Recipients,
  readClass,
  readRecord,
  type Workspace,
  wrapOf,
} from '../workspace/index.ts';
import { SealError } from './error.ts';
import type { SealRequest } from './request.ts';

/** Whom content keys are sent to, open until closed. */
export interface OpenRecipients {
  readonly all: readonly Recipient[];
  readonly weight: RecipientWeight;
  /** Overwrites what was opened. */
  close(): void;
}

/** What recipients add to each encrypted image's manifest. Sizes in bytes. */
export interface RecipientWeight {
  readonly kind: Recipients;
  readonly count: number;
  /** How the content key reaches them. */
  readonly algorithm: string;
  readonly bytesEach: number;
  /** The whole encryption info. */
  readonly bytesInAll: number;
}

/** Whether images of a class are encrypted when they are sealed. */
export function encryptsImages({ confidentiality }: DeviceClass): boolean {
  return confidentiality === 'image' || confidentiality === 'both';
}

/** What recipients would add, before anything is sealed and without opening a key. Throws `SealError`. */
export async function weighRecipients(
  workspace: Workspace,
  className: string,
  deviceId?: Uint8Array,
): Promise<RecipientWeight> {
  const deviceClass = await readClass(workspace, className);
  if (encryptsImages(deviceClass)) return weightOf(deviceClass, countOf(workspace, deviceClass, deviceId));
  throw new SealError(
    'recipients-none',
    `images of the class ${className} are not encrypted`,
    `set confidentiality: image in classes/${className}.yaml`,
  );
}

/** Opens what content keys of a class are sent with. Asks for passphrases. Throws `SealError`, `KeyError`. */
export async function openRecipients(
  request: Pick<SealRequest, 'workspace' | 'secrets' | 'deviceId'>,
  deviceClass: DeviceClass,
): Promise<OpenRecipients> {
  const { workspace, deviceId } = request;
  const weight = weightOf(deviceClass, countOf(workspace, deviceClass, deviceId));
  if (deviceClass.recipients === 'units') {
    const algorithm = deviceClass.profile.keyDistribution as AgreementAlgorithm;
    const all = unitKeys(workspace, deviceClass, deviceId).map((spki) => toUnit(spki, algorithm));
    return { all, weight, close() {} };
  }
  const all: Awaited<ReturnType<typeof openContentKey>>[] = [];
  const close = () => {
    for (const each of all) each.close();
  };
  try {
    for (const { description } of sharedKeys(workspace, deviceClass)) {
      const { secret: file } = keyPaths(workspace, description.name);
      const production = workspace.kind === 'production';
      all.push(await openContentKey(description, { file, secrets: request.secrets, production }));
    }
    return { all, weight, close };
  } catch (error) {
    close();
    throw error;
  }
}

/** The kid of each recipient, in the order in which they are sent to, without opening a key. Throws `SealError`. */
export function recipientKeyIds(
  workspace: Workspace,
  deviceClass: DeviceClass,
  deviceId: Uint8Array | undefined,
): Uint8Array[] {
  return deviceClass.recipients === 'units'
    ? unitKeys(workspace, deviceClass, deviceId).map(decryptionKeyId)
    : sharedKeys(workspace, deviceClass).map(({ description }) => fromHex(description.fingerprint));
}

/** What the weighing says, for programs. */
export function weightJson(weight: RecipientWeight): JsonObject {
  const { kind, count, algorithm, bytesEach, bytesInAll } = weight;
  return { kind, count, algorithm, size_bytes_each: bytesEach, size_bytes: bytesInAll };
}

/** What that many recipients of a class would add, whether or not its images are encrypted. */
export function weightOf({ recipients: kind, profile }: DeviceClass, count: number): RecipientWeight {
  const algorithm = kind === 'units' ? profile.keyDistribution : wrapOf(profile);
  const form = { algorithm, keyIdLength: DECRYPTION_KEY_ID_LENGTH };
  return {
    kind,
    count,
    algorithm: algorithm.name,
    bytesEach: recipientSize(form, profile.content),
    bytesInAll: encryptionInfoSize(
      Array.from({ length: count }, () => form),
      profile.content,
    ),
  };
}

function countOf(workspace: Workspace, deviceClass: DeviceClass, deviceId: Uint8Array | undefined): number {
  const count =
    deviceClass.recipients === 'units'
      ? unitKeys(workspace, deviceClass, deviceId).length
      : sharedKeys(workspace, deviceClass).length;
  if (count <= MAX_RECIPIENTS) return count;
  throw new SealError(
    'recipients-too-many',
    `${count} recipients in one payload; at most ${MAX_RECIPIENTS} are taken`,
    'send to cohorts instead of units: set recipients: cohorts in the class',
  );
}

function toUnit(spki: Uint8Array, algorithm: AgreementAlgorithm): Recipient {
  const key = readAgreementKey(spki);
  if (key) return publicKeyRecipient(key, decryptionKeyId(spki), algorithm);
  throw new SealError(
    'recipients-none',
    'the decryption key of a unit on record is none that secrets can be agreed with',
    'restore units/ from git, then: fieldseal ledger check',
  );
}

/** Decryption keys of the units on record, or of the one unit, DER SubjectPublicKeyInfo. */
function unitKeys(
  workspace: Workspace,
  { name }: DeviceClass,
  deviceId: Uint8Array | undefined,
): Uint8Array[] {
  const wanted = deviceId && formatUuid(deviceId);
  const keys = listRecords(workspace, 'units', name)
    .map((record) => readRecord(workspace, 'units', record.split('/')).facts)
    .filter(({ device_id }) => wanted === undefined || device_id === wanted)
    .flatMap(({ unit_keys }) => (unit_keys as { purpose: string; spki: string }[]) ?? [])
    .filter(({ purpose }) => purpose === 'decryption');
  if (keys.length > 0) return keys.map(({ spki }) => fromHex(spki));
  throw new SealError(
    'recipients-none',
    wanted === undefined
      ? `no unit of the class ${name} is on record, so nobody could decrypt the image`
      : 'the unit that this is for is not on record, so nobody could decrypt the image',
    'provision units first, or take in the results of their batch: fieldseal batch accept',
  );
}

function sharedKeys(workspace: Workspace, { name, recipients }: DeviceClass) {
  const keys = contentKeys(workspace, name).filter(
    ({ cohort }) => (cohort === undefined) === (recipients === 'class'),
  );
  if (keys.length > 0) return keys;
  throw new SealError(
    'recipients-none',
    `the class ${name} has no content key for its ${recipients}, so nobody could decrypt the image`,
    `make one: fieldseal content-key create ${name}${recipients === 'class' ? '' : ' --cohort NAME'}`,
  );
}

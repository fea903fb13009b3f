import { randomBytes } from '../crypto/index.ts';
import {
  type ContentKeyAlgorithm,
  createContentKey,
  createMacKey,
  createWrappingKey,
  type KeyDescription,
  type KeyPlace,
  type SecretSource,
} from '../keys/index.ts';
import {
  addKey,
  classKeyName,
  cohortKeyName,
  contentKeyName,
  type DeviceClass,
  keyPaths,
  requireFreeKeyName,
  type Workspace,
  type WrittenRecord,
  wrapOf,
} from '../workspace/index.ts';
import { type Attendance, recordCeremony } from './ceremony.ts';
import { AuthorityError } from './error.ts';

/** Bytes of a station's wrapping key: AES-256. */
const WRAPPING_KEY_LENGTH = 32;

/** A secret key made, and the record of it. */
export interface MadeSecretKey {
  readonly description: KeyDescription;
  readonly ceremony: WrittenRecord;
}

/** Where a secret key is to live, given the name it will bear. */
export type PlaceFor = (name: string) => KeyPlace;

/** Makes the key that all units of a symmetric class share. Throws `AuthorityError` scheme-wrong, `KeyError`. */
export function createClassKey(
  workspace: Workspace,
  deviceClass: DeviceClass,
  placeFor: PlaceFor,
  attendance: Attendance,
  secrets: SecretSource,
): Promise<MadeSecretKey> {
  requireSymmetric(deviceClass);
  return makeMacKey(workspace, 'class', classKeyName(deviceClass.name), placeFor, attendance, secrets);
}

/** Makes the key of one cohort of a symmetric class. Throws as `createClassKey`. */
export function createCohortKey(
  workspace: Workspace,
  deviceClass: DeviceClass,
  cohort: string,
  placeFor: PlaceFor,
  attendance: Attendance,
  secrets: SecretSource,
): Promise<MadeSecretKey> {
  requireSymmetric(deviceClass);
  return makeMacKey(
    workspace,
    'cohort',
    cohortKeyName(deviceClass.name, cohort),
    placeFor,
    attendance,
    secrets,
  );
}

/**
 * Makes the wrapping key (AES-256, RFC 3394) of a production station. One in a token also gets an encrypted file, which
 * goes to the station. Throws `KeyError`.
 */
export async function createStationKey(
  workspace: Workspace,
  name: string,
  placeFor: PlaceFor,
  attendance: Attendance,
  secrets: SecretSource,
): Promise<MadeSecretKey> {
  requireFreeKeyName(workspace, name);
  const trial = workspace.kind === 'trial';
  const naming = { name, purpose: 'station', trial, created: workspace.now() } as const;
  const place = placeFor(name);
  const secret = randomBytes(WRAPPING_KEY_LENGTH);
  const made = await createWrappingKey({ ...naming, place, secret }, secrets);
  if (place.custody === 'token') await saveForStation(workspace, naming, secret, secrets);
  secret.fill(0);
  addKey(workspace, made.description);
  const ceremony = recordCeremony(workspace, 'station-key-made', made.description, made.evidence, attendance);
  return { description: made.description, ceremony };
}

/** The copy that goes to the station: an encrypted file, where the workspace's own copy is in a token. */
async function saveForStation(
  workspace: Workspace,
  naming: { name: string; purpose: 'station'; trial: boolean; created: Date },
  secret: Uint8Array,
  secrets: SecretSource,
): Promise<void> {
  const path = keyPaths(workspace, naming.name).secret;
  await createWrappingKey({ ...naming, place: { custody: 'file', path }, secret }, secrets);
}

async function makeMacKey(
  workspace: Workspace,
  purpose: 'class' | 'cohort',
  name: string,
  placeFor: PlaceFor,
  attendance: Attendance,
  secrets: SecretSource,
): Promise<MadeSecretKey> {
  requireFreeKeyName(workspace, name);
  const naming = { name, purpose, trial: workspace.kind === 'trial', created: workspace.now() };
  const made = await createMacKey({ ...naming, place: placeFor(name) }, secrets);
  made.key.close();
  addKey(workspace, made.description);
  const ceremony = recordCeremony(
    workspace,
    `${purpose}-key-made`,
    made.description,
    made.evidence,
    attendance,
  );
  return { description: made.description, ceremony };
}

/**
 * Makes the key that content keys of encrypted images are wrapped under, for a whole class or one cohort, as the key wrap
 * of its profile asks for. Throws `AuthorityError` recipients-wrong, `KeyError`.
 */
export async function createContentKeyFor(
  workspace: Workspace,
  deviceClass: DeviceClass,
  cohort: string | undefined,
  attendance: Attendance,
  secrets: SecretSource,
): Promise<MadeSecretKey> {
  requireShared(deviceClass, cohort);
  const name = contentKeyName(deviceClass.name, cohort);
  requireFreeKeyName(workspace, name);
  const trial = workspace.kind === 'trial';
  const naming = { name, purpose: 'content', trial, created: workspace.now() } as const;
  const algorithm = wrapOf(deviceClass.profile).name as ContentKeyAlgorithm;
  const made = await createContentKey(
    { ...naming, algorithm, path: keyPaths(workspace, name).secret },
    secrets,
  );
  addKey(workspace, made.description);
  const ceremony = recordCeremony(workspace, 'content-key-made', made.description, made.evidence, attendance);
  return { description: made.description, ceremony };
}

function requireShared(deviceClass: DeviceClass, cohort: string | undefined): void {
  const { name, confidentiality, recipients } = deviceClass;
  if (confidentiality === 'none' || recipients !== (cohort === undefined ? 'class' : 'cohorts')) {
    const says = confidentiality === 'none' ? 'nothing is encrypted' : `content keys go to its ${recipients}`;
    throw new AuthorityError(
      'recipients-wrong',
      `In the class ${name} ${says}: a content key for ${cohort === undefined ? 'the class' : `the cohort ${cohort}`} would open nothing.`,
      `Set confidentiality and recipients in classes/${name}.yaml first.`,
    );
  }
}

function requireSymmetric(deviceClass: DeviceClass): void {
  if (deviceClass.scheme === 'symmetric') return;
  throw new AuthorityError(
    'scheme-wrong',
    `The class ${deviceClass.name} is of the asymmetric scheme: its units hold the root's public key and no shared secret.`,
    `Make a signer instead: fieldseal signer create NAME --class ${deviceClass.name}`,
  );
}

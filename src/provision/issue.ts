import { randomUUID } from 'node:crypto';
import { toHex } from '../bytes/index.ts';
import { type KeyAccess, type KeyDescription, wrapContentKey, wrapMacKey } from '../keys/index.ts';
import { formatUuid } from '../suit/index.ts';
import {
  type ClassAuthor,
  type ClassKey,
  classKeys,
  contentKeys,
  type DeviceClass,
  type JsonObject,
  jsonDigest,
  keyFaults,
  listRecords,
  readAuthor,
  readCertificates,
  readRecord,
  rootStandings,
  sharesContentKeys,
  type Workspace,
  type WrittenRecord,
  writeRecord,
} from '../workspace/index.ts';
import { type Books, balance } from './books.ts';
import { ProvisionError } from './error.ts';
import { JOB_FORMAT, type ProvisionJob, UNIT_KEY_PURPOSES } from './job.ts';
import { judgeResult, type ProvisionResult, type UnitJudgement } from './result.ts';

/** What a batch is issued for. */
export interface NewBatch {
  readonly deviceClass: DeviceClass;
  readonly serials: readonly string[];
  /** The cohort whose key the units get instead of the class key. */
  readonly cohort: string | undefined;
  /** The station whose key wraps the units' secret keys; needed for symmetric classes. */
  readonly station: KeyDescription | undefined;
  readonly first: ProvisionJob['first'];
}

/** How a key of the workspace is reached, by its name. */
export type AccessFor = (name: string) => KeyAccess;

/**
 * Issues a batch: the job that goes to the station, entered in batches/ID/job.json and the ledger. Serial numbers that
 * are provisioned already are refused. Throws `ProvisionError` key-missing, root-changed, serials-invalid; `KeyError`.
 */
export async function issueBatch(
  workspace: Workspace,
  batch: NewBatch,
  accessFor: AccessFor,
): Promise<ProvisionJob> {
  requireUnused(workspace, batch);
  const job = await makeJob(workspace, batch, accessFor);
  writeRecord(workspace, {
    folder: 'batches',
    name: [job.batch, 'job'],
    kind: 'batch-issued',
    facts: job as unknown as JsonObject & { format: string },
    summary: { batch: job.batch, class: job.class_name, issued: job.serials.length },
  });
  return job;
}

/** What taking in a result gave: what became of each unit, and the books of the batch. */
export interface AcceptedResult {
  readonly job: ProvisionJob;
  readonly units: readonly UnitJudgement[];
  readonly books: Books;
}

/**
 * Takes in a station's result: judges it, writes a record for each unit that is provisioned, and enters what was found. A unit
 * that the result leaves open stays open. Taking a result in again changes nothing, and finishes what was cut off.
 * Throws `ProvisionError` batch-unknown.
 */
export function acceptResult(workspace: Workspace, result: ProvisionResult): AcceptedResult {
  const job = readIssuedJob(workspace, result.batch);
  const recorded = new Set(listRecords(workspace, 'units', job.class_name));
  const onRecord = ({ serial }: UnitJudgement) => recorded.has(`${job.class_name}/${serial}`);
  const units = judgeResult(job, result).map((unit) =>
    onRecord(unit) ? asRecorded(workspace, job, unit) : unit,
  );
  for (const unit of units)
    if (unit.outcome === 'provisioned' && !onRecord(unit)) recordUnit(workspace, job, result, unit.unit);
  const number = listRecords(workspace, 'batches', job.batch).length;
  const told = units.map((unit) => ({ ...unit, ...('unit' in unit && { unit: undefined }) }));
  writeRecord(workspace, {
    folder: 'batches',
    name: [job.batch, `result-${number}`],
    kind: 'batch-result',
    facts: {
      format: 'fieldseal.batch-result/1',
      batch: job.batch,
      station: result.station,
      finished: result.finished,
      units: JSON.parse(JSON.stringify(told)),
    },
    summary: { batch: job.batch, class: job.class_name, ...counts(units) },
  });
  return { job, units, books: batchBooks(workspace, job.batch) };
}

/** The books of a batch, from the records. Throws `ProvisionError` batch-unknown. */
export function batchBooks(workspace: Workspace, batch: string): Books {
  const job = readIssuedJob(workspace, batch);
  const results = listRecords(workspace, 'batches', batch).filter((name) => name.includes('/result-'));
  const units = results.flatMap(
    (name) => readRecord(workspace, 'batches', name.split('/')).facts.units as JsonObject[],
  );
  const withOutcome = (outcome: string) =>
    new Set(units.filter((unit) => unit.outcome === outcome).map((unit) => String(unit.serial)));
  return balance(job.serials, { provisioned: withOutcome('provisioned'), scrapped: withOutcome('scrapped') });
}

/** Identifiers of all batches, in the order of their names. */
export function listBatches(workspace: Workspace): string[] {
  return listRecords(workspace, 'batches')
    .filter((name) => name.endsWith('/job'))
    .map((name) => name.split('/')[0]!);
}

/** The job of a batch as it was issued. Throws `ProvisionError` batch-unknown. */
export function readIssuedJob(workspace: Workspace, batch: string): ProvisionJob {
  if (!listBatches(workspace).includes(batch)) {
    throw new ProvisionError(
      'batch-unknown',
      `This workspace issued no batch ${batch}.`,
      'Take the result in where the batch was issued; its batches are listed by: fieldseal batch show.',
    );
  }
  return readRecord(workspace, 'batches', [batch, 'job']).facts as unknown as ProvisionJob;
}

async function makeJob(workspace: Workspace, batch: NewBatch, accessFor: AccessFor): Promise<ProvisionJob> {
  const { deviceClass, station } = batch;
  const anchors = anchorsOf(workspace, deviceClass);
  const macKeys = await wrappedKeys(workspace, batch, accessFor);
  const held = await wrappedContentKeys(workspace, batch, accessFor);
  return {
    format: JOB_FORMAT,
    batch: randomUUID(),
    issued: workspace.now().toISOString(),
    trial: workspace.kind === 'trial',
    vendor_domain: workspace.vendorDomain,
    vendor_id: formatUuid(workspace.vendorId),
    class_name: deviceClass.name,
    class_ids: deviceClass.classIds.map(formatUuid),
    scheme: deviceClass.scheme,
    profile: deviceClass.profile.name,
    clock: deviceClass.clock,
    ...policyFor(deviceClass, anchors),
    ...(deviceClass.attestation && { attestation: deviceClass.attestation }),
    memory: deviceClass.memory,
    trial_attempts: deviceClass.trialAttempts,
    anchors,
    mac_keys: macKeys,
    ...(held.length > 0 && { content_keys: held }),
    ...(station &&
      macKeys.length + held.length > 0 && {
        station: { name: station.name, check_value: station.fingerprint },
      }),
    unit_keys: [...UNIT_KEY_PURPOSES],
    floors: {
      sequence_number: '0',
      security_version: 0,
      signer_generation: deviceClass.certificatePolicy.minimumSignerGeneration,
    },
    denied_signers: [],
    first: batch.first,
    serials: [...batch.serials],
    cautions: [...deviceClass.cautions],
  };
}

/**
 * The roots that units of an asymmetric class get: all of the workspace that are not retired, the spare ones as spare. Throws `ProvisionError`
 * key-missing, or root-changed for a root that is not the one whose making the ledger records.
 */
export function anchorsOf(workspace: Workspace, deviceClass: DeviceClass): ProvisionJob['anchors'] {
  if (deviceClass.scheme === 'symmetric') return [];
  const [fault] = keyFaults(workspace, 'root');
  if (fault) {
    throw new ProvisionError(
      'root-changed',
      `${fault.says}; units would trust a root that nobody on record made. Nothing was issued.`,
      'Restore keys/ and certificates/ from git, compare fingerprints with the ceremony record, then: fieldseal ledger check',
    );
  }
  const standing = rootStandings(workspace).filter(({ retired }) => !retired);
  const own = standing.flatMap(({ name, rank }) =>
    readCertificates(workspace, name)
      .slice(0, 1)
      .map(({ subject, spki }) => ({
        label: name,
        name: toHex(subject.der),
        spki: toHex(spki),
        purpose: rank,
      })),
  );
  const anchors = [...own, ...deviceClass.authors.map((author) => authorAnchor(workspace, author))];
  if (own.some(({ purpose }) => purpose === 'release')) return anchors;
  throw new ProvisionError(
    'key-missing',
    'There is no root yet, so there is nothing that units could trust.',
    'Make it first: fieldseal root create',
  );
}

/** The root of another author, for its own components. Throws `WorkspaceError` not-found, file-damaged. */
function authorAnchor(workspace: Workspace, author: ClassAuthor): ProvisionJob['anchors'][number] {
  const { subject, spki } = readAuthor(workspace, author.name);
  return {
    label: author.name,
    name: toHex(subject.der),
    spki: toHex(spki),
    purpose: 'dependency',
    author: {
      vendor_id: formatUuid(author.vendorId),
      class_ids: author.classIds.map(formatUuid),
      components: author.components,
      signer_generation: author.minimumSignerGeneration,
    },
  };
}

/** The key that units of a symmetric class get: the cohort's, or the class's. Throws `ProvisionError` key-missing. */
export function macKeyOf(
  workspace: Workspace,
  deviceClass: DeviceClass,
  cohort: string | undefined,
): ClassKey {
  const key = classKeys(workspace, deviceClass.name).find((entry) => entry.cohort === cohort);
  if (key) return key;
  const which = cohort === undefined ? 'class key' : `key of the cohort ${cohort}`;
  const command = cohort === undefined ? 'class-key create' : 'cohort-key create';
  throw new ProvisionError(
    'key-missing',
    `The class ${deviceClass.name} has no ${which} yet.`,
    `Make it first: fieldseal ${command} ${[deviceClass.name, cohort].filter(Boolean).join(' ')}`,
  );
}

async function wrappedKeys(
  workspace: Workspace,
  { deviceClass, cohort, station }: NewBatch,
  accessFor: AccessFor,
): Promise<ProvisionJob['mac_keys']> {
  if (deviceClass.scheme === 'asymmetric') return [];
  const key = macKeyOf(workspace, deviceClass, cohort);
  return [await wrappedFor(requireStation(station, deviceClass), key, accessFor, wrapMacKey)];
}

/** What encrypted images are opened with where units of a class or cohort share it; else each unit makes its own key. */
async function wrappedContentKeys(
  workspace: Workspace,
  { deviceClass, cohort, station }: NewBatch,
  accessFor: AccessFor,
): Promise<NonNullable<ProvisionJob['content_keys']>> {
  if (!sharesContentKeys(deviceClass)) return [];
  const key = contentKeyOf(workspace, deviceClass, cohort);
  return [await wrappedFor(requireStation(station, deviceClass), key, accessFor, wrapContentKey)];
}

async function wrappedFor(
  station: KeyDescription,
  { description, cohort }: ClassKey,
  accessFor: AccessFor,
  wrap: typeof wrapMacKey,
): Promise<ProvisionJob['mac_keys'][number]> {
  const { name: label, fingerprint: id } = description;
  const { wrapped, check_value } = await wrap(
    description,
    accessFor(label),
    station,
    accessFor(station.name),
  );
  return { id, label, ...(cohort !== undefined && { cohort }), wrapped, check_value };
}

function requireStation(station: KeyDescription | undefined, { name }: DeviceClass): KeyDescription {
  if (station) return station;
  throw new ProvisionError(
    'key-missing',
    `Units of ${name} hold a secret key, and it leaves only wrapped for a station; none is named.`,
    'Make a station key (fieldseal station-key create NAME) and name it with --station.',
  );
}

/** The key that content keys reach these units by: the cohort's, or the class's. Throws `ProvisionError` key-missing. */
export function contentKeyOf(
  workspace: Workspace,
  { name, recipients }: DeviceClass,
  cohort: string | undefined,
): ClassKey {
  const wanted = recipients === 'cohorts' ? cohort : undefined;
  const key = contentKeys(workspace, name).find((entry) => entry.cohort === wanted);
  if (key && (recipients === 'class' || wanted !== undefined)) return key;
  const [says, next] =
    recipients === 'cohorts' && cohort === undefined
      ? ['its units belong to cohorts, and none is named', 'Name it with --cohort.']
      : [
          `it has no content key${wanted === undefined ? '' : ` of the cohort ${wanted}`} yet`,
          `Make it first: fieldseal content-key create ${name}${wanted === undefined ? '' : ` --cohort ${wanted}`}`,
        ];
  throw new ProvisionError('key-missing', `Images of the class ${name} are encrypted, and ${says}.`, next);
}

function requireUnused(workspace: Workspace, { deviceClass, serials }: NewBatch): void {
  const known = new Set(listRecords(workspace, 'units', deviceClass.name));
  const used = serials.find((serial) => known.has(`${deviceClass.name}/${serial}`));
  if (used === undefined) return;
  throw new ProvisionError(
    'serials-invalid',
    `The unit ${deviceClass.name} ${used} is provisioned already; a serial number is given once.`,
    'Use another serial number.',
  );
}

/** A unit that is on record already: the same once more where nothing differs, else open. */
function asRecorded(workspace: Workspace, job: ProvisionJob, unit: UnitJudgement): UnitJudgement {
  const { facts } = readRecord(workspace, 'units', [job.class_name, unit.serial]);
  const same =
    facts.batch === job.batch &&
    unit.outcome === 'provisioned' &&
    jsonDigest(facts.unit_keys!) === jsonDigest(unit.unit.unit_keys as unknown as JsonObject);
  return same
    ? unit
    : { serial: unit.serial, outcome: 'open', problems: ['the unit is on record as provisioned already'] };
}

function recordUnit(
  workspace: Workspace,
  job: ProvisionJob,
  result: ProvisionResult,
  unit: ProvisionResult['units'][number],
): WrittenRecord {
  return writeRecord(workspace, {
    folder: 'units',
    name: [job.class_name, unit.serial],
    kind: 'unit-provisioned',
    facts: {
      format: 'fieldseal.unit-record/1',
      class: job.class_name,
      class_ids: job.class_ids,
      batch: job.batch,
      station: result.station,
      finished: result.finished,
      trial: job.trial,
      floors: job.floors,
      ...(unit as unknown as JsonObject),
    },
    summary: { class: job.class_name, serial: unit.serial, batch: job.batch },
  });
}

function counts(units: readonly UnitJudgement[]): JsonObject {
  const count = (outcome: string) => units.filter((unit) => unit.outcome === outcome).length;
  return { provisioned: count('provisioned'), scrapped: count('scrapped'), open: count('open') };
}

/** Policy and rights as units get them. Throws `ProvisionError` key-missing where they name a root that is not there. */
export function policyFor(
  { name, authentication, rights }: DeviceClass,
  anchors: ProvisionJob['anchors'],
): Pick<ProvisionJob, 'authentication' | 'rights'> {
  const named = [
    ...(authentication?.roles ?? []).flatMap((demand) => demand.anchors ?? []),
    ...(rights ?? []).flatMap(({ anchor }) => anchor ?? []),
  ];
  const unknown = named.find((label) => !anchors.some((anchor) => anchor.label === label));
  if (unknown !== undefined) {
    throw new ProvisionError(
      'key-missing',
      `The class ${name} asks for signers under the root ${unknown}, and this workspace has no such root.`,
      `Make or adopt it first, or correct authentication and rights in classes/${name}.yaml.`,
    );
  }
  return { ...(authentication && { authentication }), ...(rights && { rights }) };
}

import { fromHex, toHex } from '../bytes/index.ts';
import { sha256 } from '../crypto/index.ts';
import { withMacSecret } from '../keys/index.ts';
import {
  type Appraisal,
  type AppraisalBooks,
  type KnownRelease,
  type KnownUnit,
  type LastHeard,
  openSealedReport,
  outcomeTold,
  ReportError,
  readManifestOf,
  unitMacKey,
} from '../report/index.ts';
import {
  ALL_EXTENSIONS,
  formatUuid,
  type Manifest,
  manifestDigestMatches,
  openEnvelope,
  parseUuid,
} from '../suit/index.ts';
import {
  classKeys,
  fileSource,
  type JsonObject,
  keyPaths,
  listRecords,
  listReleases,
  readableJson,
  readRecord,
  type Workspace,
} from '../workspace/index.ts';
import type { VerifierSession } from './books.ts';

/** A unit record of the workspace, as far as reports concern it. */
export interface ReportingUnit {
  readonly class: string;
  readonly serial: string;
  readonly device_id: string;
  readonly class_ids: readonly string[];
  readonly unit_keys: readonly { readonly purpose: string; readonly spki: string }[];
  readonly mac_key_check_values: readonly { readonly id: string }[];
}

interface ReleaseFacts {
  readonly class: string;
  readonly version: string;
  readonly sequence_number: string;
  readonly manifest_digest: string;
  readonly reference_uri?: string | null;
  readonly images: readonly { readonly digest: string }[];
}

/** The records that a report is appraised against. A key of the class is opened only for a report that has a MAC. */
export async function openReportBooks(
  session: VerifierSession,
  bytes: Uint8Array,
  envelopePath: string | undefined,
): Promise<AppraisalBooks> {
  const known = await senderOf(session, bytes);
  const manifest = envelopePath === undefined ? undefined : manifestOf(envelopePath);
  return {
    unit: (deviceId) => (known && known.deviceId === formatUuid(deviceId) ? known.unit : undefined),
    release: (digest) => releaseWith(session.workspace, toHex(digest)),
    manifest: (digest) => (manifest && toHex(digest) === manifest.digest ? manifest.manifest : undefined),
  };
}

async function senderOf(
  session: VerifierSession,
  bytes: Uint8Array,
): Promise<{ readonly deviceId: string; readonly unit: KnownUnit } | undefined> {
  const sealed = openOrNothing(bytes);
  if (!sealed?.deviceId) return undefined;
  const deviceId = formatUuid(sealed.deviceId);
  const facts = unitWith(session.workspace, deviceId);
  if (!facts) return undefined;
  const macKey = sealed.message.kind === 'mac0' ? await reportMacKey(session, facts) : undefined;
  const lastHeard = readHeard(session.workspace, facts.class, facts.serial);
  return { deviceId, unit: { ...signingUnit(facts), macKey, lastHeard } };
}

function openOrNothing(bytes: Uint8Array) {
  try {
    return openSealedReport(bytes);
  } catch (error) {
    if (error instanceof ReportError) return undefined;
    throw error;
  }
}

/** A unit on record as it signs reports. */
export function signingUnit(facts: ReportingUnit): Pick<KnownUnit, 'className' | 'serial' | 'reportKey'> {
  const key = facts.unit_keys.find(({ purpose }) => purpose === 'report');
  return { className: facts.class, serial: facts.serial, reportKey: key && fromHex(key.spki) };
}

function unitWith(workspace: Workspace, deviceId: string): ReportingUnit | undefined {
  return listRecords(workspace, 'units')
    .map((name) => readRecord(workspace, 'units', name.split('/')).facts)
    .find(({ device_id }) => device_id === deviceId) as unknown as ReportingUnit | undefined;
}

function releaseWith(workspace: Workspace, digest: string): KnownRelease | undefined {
  const facts = releasesOf(workspace).find(({ manifest_digest }) => manifest_digest === digest);
  return facts && releaseOf(facts);
}

/** All releases on record, by manifest digest in lower-case hexadecimal. */
export function knownReleases(workspace: Workspace): Map<string, KnownRelease> {
  return new Map(releasesOf(workspace).map((facts) => [String(facts.manifest_digest), releaseOf(facts)]));
}

function releaseOf(facts: JsonObject): KnownRelease {
  const release = facts as unknown as ReleaseFacts;
  return {
    className: release.class,
    sequenceNumber: BigInt(release.sequence_number),
    version: release.version,
    referenceUri: release.reference_uri ?? null,
    imageDigests: release.images.map((image) => fromHex(image.digest)),
  };
}

function releasesOf(workspace: Workspace): JsonObject[] {
  return listReleases(workspace).map((name) => readRecord(workspace, 'releases', name.split('/')).facts);
}

/** The unit's own MAC key, made from the key of its class or cohort. Throws `KeyError`, key-custody for one in a token. */
export async function reportMacKey(
  { workspace, secrets }: VerifierSession,
  facts: ReportingUnit,
): Promise<Uint8Array | undefined> {
  const ids = facts.mac_key_check_values.map(({ id }) => id);
  const shared = classKeys(workspace, facts.class).find(({ description }) =>
    ids.includes(description.fingerprint),
  );
  if (!shared) return undefined;
  const { description } = shared;
  const classId = parseUuid(facts.class_ids.at(-1)!);
  const access = {
    file: keyPaths(workspace, description.name).secret,
    secrets,
    production: workspace.kind === 'production',
  };
  return withMacSecret(description, access, (secret) =>
    unitMacKey('unit-report-key', secret, classId, parseUuid(facts.device_id)),
  );
}

/** The manifest of an envelope at hand. Throws `SuitError` where it is none. */
function manifestOf(path: string): { digest: string; manifest: Manifest } | undefined {
  const source = fileSource(path);
  try {
    const envelope = openEnvelope(source, undefined, ALL_EXTENSIONS);
    if (!manifestDigestMatches(envelope)) return undefined;
    const manifest = readManifestOf(envelope);
    return { digest: toHex(envelope.digest.bytes), manifest };
  } finally {
    source.close();
  }
}

const HEARD_FORMAT = 'fieldseal.report-heard/1';

/**
 * Remembers the newest genuine report of a unit, in the private folder of this copy of the workspace. What is authentic and
 * not old counts, also where its manifest is unknown: the unit did say it.
 */
export function rememberHeard(workspace: Workspace, appraisal: Appraisal, bytes: Uint8Array): void {
  const { sender, report, age, release, claims } = appraisal;
  const old = claims.some(({ claim, result }) => claim === 'freshness' && result === 'fails');
  if (!sender || !report || age === undefined || old) return;
  const before = readHeard(workspace, sender.className, sender.serial);
  const kept = outcomeTold(report).result === 'success' ? release?.sequenceNumber : undefined;
  const keptNumber = higher(kept, before?.keptNumber);
  workspace.files.makeFolder(workspace.path('private', 'reports', sender.className), { secret: true });
  workspace.files.replace(
    heardPath(workspace, sender.className, sender.serial),
    readableJson({
      format: HEARD_FORMAT,
      age,
      kept_number: keptNumber === undefined ? null : String(keptNumber),
      report_sha256: toHex(sha256(bytes)),
      appraised: workspace.now().toISOString(),
    }),
    { secret: true },
  );
}

function higher(a: bigint | undefined, b: bigint | undefined): bigint | undefined {
  if (a === undefined || b === undefined) return a ?? b;
  if (a > b) return a;
  return b;
}

function readHeard(workspace: Workspace, className: string, serial: string): LastHeard | undefined {
  const path = heardPath(workspace, className, serial);
  if (!workspace.files.exists(path)) return undefined;
  const heard = JSON.parse(workspace.files.readText(path)) as { age: number; kept_number: string | null };
  return {
    age: heard.age,
    keptNumber: heard.kept_number === null ? undefined : BigInt(heard.kept_number),
  };
}

function heardPath(workspace: Workspace, className: string, serial: string): string {
  return workspace.path('private', 'reports', className, `${serial}.json`);
}

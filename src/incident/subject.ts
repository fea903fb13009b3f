import { formatUuid } from '../suit/index.ts';
import {
  type DeviceClass,
  listClasses,
  listKeys,
  readCertificates,
  readClass,
  retirements,
  rootStandings,
  type Workspace,
} from '../workspace/index.ts';
import { type Certificate, purposeOf, saysIssuedBy } from '../x509/index.ts';
import { IncidentError } from './error.ts';
import { type FieldedUnit, fieldedUnits } from './fielded.ts';

/** What a key is, as far as a leak of it is concerned. */
export type KeyKind =
  | 'root'
  | 'spare root'
  | 'signer'
  | 'trust signer'
  | 'announcement signer'
  | 'class key'
  | 'cohort key'
  | 'content key'
  | 'station key'
  | 'approver'
  | 'unit keys';

/** A key whose leak is asked about. */
export interface KeySubject {
  readonly name: string;
  readonly kind: KeyKind;
  readonly fingerprint: string;
  /** When it was made, RFC 3339. */
  readonly made: string;
  readonly certificate: Certificate | undefined;
  readonly retired: boolean;
  /** For signers: the name of the root above. */
  readonly root: string | undefined;
  /** Classes it is about. */
  readonly classes: readonly DeviceClass[];
  /** Units that believe it, or hold it. */
  readonly units: readonly FieldedUnit[];
}

const SIGNERS: readonly KeyKind[] = ['signer', 'trust signer', 'announcement signer'];
const KINDS: Readonly<Record<string, KeyKind>> = {
  root: 'root',
  signer: 'signer',
  approver: 'approver',
  class: 'class key',
  cohort: 'cohort key',
  content: 'content key',
  station: 'station key',
};

/**
 * The key of that name, or of that fingerprint; CLASS/SERIAL means the keys of one unit. Throws `IncidentError` key-unknown.
 */
export async function subjectOf(workspace: Workspace, key: string): Promise<KeySubject> {
  const units = fieldedUnits(workspace);
  const classes = await Promise.all(listClasses(workspace).map((name) => readClass(workspace, name)));
  const unit = units.find(
    ({ className, serial, ownKeys }) => `${className}/${serial}` === key || ownKeys.includes(key),
  );
  if (unit) return unitSubject(unit, classes);
  const description = listKeys(workspace).find(
    ({ name, fingerprint }) => name === key || fingerprint === key,
  );
  if (!description) throw unknown(workspace, key);
  const { name, fingerprint, created } = description;
  const [certificate] = readCertificates(workspace, name);
  const kind = kindOf(workspace, description.purpose, name, certificate);
  const own = classes.filter((each) => concerns(workspace, each, kind, name, certificate));
  const root = certificate && rootAbove(workspace, certificate);
  const about = { name, kind, fingerprint, certificate };
  if (kind === 'station key') return stationSubject(about, created, units, classes);
  return {
    ...about,
    made: created,
    retired: retirements(workspace).has(name),
    root: kind === 'root' || kind === 'spare root' ? undefined : root?.name,
    classes: own,
    units: units.filter((each) => reaches(each, about, own, root?.fingerprint)),
  };
}

function kindOf(
  workspace: Workspace,
  purpose: string,
  name: string,
  certificate: Certificate | undefined,
): KeyKind {
  if (purpose === 'root') {
    const standing = rootStandings(workspace).find((each) => each.name === name);
    return standing?.spare ? 'spare root' : 'root';
  }
  const signs = purpose === 'signer' && certificate ? purposeOf(certificate) : undefined;
  if (signs === 'trust' || signs === 'announcement') return `${signs} signer`;
  return KINDS[purpose]!;
}

function concerns(
  workspace: Workspace,
  { name: className, scheme, classIds }: DeviceClass,
  kind: KeyKind,
  name: string,
  certificate: Certificate | undefined,
): boolean {
  if (kind === 'root' || kind === 'spare root') return scheme === 'asymmetric';
  if (kind === 'class key') return name === className;
  if (kind === 'cohort key') return name.startsWith(`${className}.`);
  if (kind === 'content key')
    return name === `content.${className}` || name.startsWith(`content.${className}.`);
  if (!SIGNERS.includes(kind)) return false;
  const scopes = [...classIds, workspace.vendorId].map((id) => `urn:uuid:${formatUuid(id)}`);
  return (
    scheme === 'asymmetric' && (certificate?.subjectAltUris.some((uri) => scopes.includes(uri)) ?? false)
  );
}

function rootAbove(
  workspace: Workspace,
  certificate: Certificate,
): { readonly name: string; readonly fingerprint: string } | undefined {
  return listKeys(workspace, 'root').find(({ name }) => {
    const [own] = readCertificates(workspace, name);
    return own !== undefined && saysIssuedBy(certificate, own);
  });
}

/** Whether a unit believes the key, or holds it. */
function reaches(
  { className, anchors, sharedKeys, contentKeys }: FieldedUnit,
  { kind, fingerprint }: Pick<KeySubject, 'kind' | 'fingerprint'>,
  classes: readonly DeviceClass[],
  root: string | undefined,
): boolean {
  const holdsRoot = (wanted: string | undefined) => anchors.some((each) => each.fingerprint === wanted);
  if (kind === 'root' || kind === 'spare root') return holdsRoot(fingerprint);
  if (kind === 'class key' || kind === 'cohort key') return sharedKeys.includes(fingerprint);
  if (kind === 'content key') return contentKeys.includes(fingerprint);
  const covered = classes.some(({ name }) => name === className);
  return SIGNERS.includes(kind) && covered && holdsRoot(root);
}

/** Units whose shared keys were wrapped for the station. */
function stationSubject(
  about: Pick<KeySubject, 'name' | 'kind' | 'fingerprint' | 'certificate'>,
  made: string,
  all: readonly FieldedUnit[],
  classes: readonly DeviceClass[],
): KeySubject {
  const units = all.filter(({ station }) => station === about.name);
  const own = classes.filter(({ name }) => units.some(({ className }) => className === name));
  return { ...about, made, retired: false, root: undefined, classes: own, units };
}

function unitSubject(unit: FieldedUnit, classes: readonly DeviceClass[]): KeySubject {
  return {
    name: `${unit.className}/${unit.serial}`,
    kind: 'unit keys',
    fingerprint: unit.ownKeys[0] ?? '',
    made: unit.provisioned,
    certificate: undefined,
    retired: false,
    root: undefined,
    classes: classes.filter(({ name }) => name === unit.className),
    units: [unit],
  };
}

function unknown(workspace: Workspace, key: string): IncidentError {
  const names = listKeys(workspace).map(({ name }) => name);
  return new IncidentError(
    'key-unknown',
    `This workspace knows no key, and no unit, called ${key}.`,
    `Its keys: ${names.join(', ') || 'none'}; the keys of a unit are named CLASS/SERIAL.`,
  );
}

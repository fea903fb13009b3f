import { type KeyDescription, readKeyDescription } from '../keys/index.ts';
import { type Certificate, fromPem, parseCertificate, toPem } from '../x509/index.ts';
import { type Json, readableJson } from './canonical.ts';
import { WorkspaceError } from './errors.ts';
import { requireClassName, requireName } from './names.ts';
import type { Workspace } from './workspace.ts';

/** Path of a key's description, of its encrypted private or secret part, and of its certificate chain. */
export function keyPaths(
  workspace: Workspace,
  name: string,
): { description: string; secret: string; certificates: string } {
  requireName(name, 'key');
  return {
    description: workspace.path('keys', `${name}.json`),
    secret: workspace.path('private', 'keys', `${name}.pem`),
    certificates: workspace.path('certificates', `${name}.pem`),
  };
}

/** Name of the key that all units of a class share: the class's own. */
export function classKeyName(className: string): string {
  return requireClassName(className);
}

/** Name of a cohort's key: CLASS.COHORT. No class has a '.' in its name, so the two parts are never in doubt. */
export function cohortKeyName(className: string, cohort: string): string {
  return requireName(`${requireClassName(className)}.${requireName(cohort, 'cohort')}`, 'key');
}

/** Name of the key that content keys of a class, or of one cohort, are wrapped under. */
export function contentKeyName(className: string, cohort?: string): string {
  const name = cohort === undefined ? classKeyName(className) : cohortKeyName(className, cohort);
  return requireName(`content.${name}`, 'key');
}

/**
 * Puts a key on the list, once. Throws `name-taken` where a key of that name is there; check with `requireFreeKeyName`
 * before a key is made, so that none is made in vain.
 */
export function addKey(workspace: Workspace, description: KeyDescription): void {
  const { description: file } = keyPaths(workspace, description.name);
  if (!workspace.files.createNew(file, readableJson(description as Json)))
    throw keyNameTaken(description.name);
}

/** Refuses a name that a key or certificate bears already. */
export function requireFreeKeyName(workspace: Workspace, name: string): void {
  const paths = keyPaths(workspace, name);
  if (Object.values(paths).some((file) => workspace.files.exists(file))) throw keyNameTaken(name);
}

/** Reads one description. Throws not-found, or file-damaged where it is not one or bears another name. */
export function readKey(workspace: Workspace, name: string): KeyDescription {
  const { description: file } = keyPaths(workspace, name);
  if (!workspace.files.exists(file)) throw noSuchKey(workspace, name);
  try {
    const description = readKeyDescription(JSON.parse(workspace.files.readText(file)));
    if (description.name === name) return description;
    throw new Error(`it describes the key ${description.name}`);
  } catch (error) {
    throw damaged(workspace, file, error);
  }
}

/** Names of all keys, sorted. */
export function keyNames(workspace: Workspace): string[] {
  return workspace.files
    .list(workspace.path('keys'))
    .filter((name) => name.endsWith('.json'))
    .map((name) => name.slice(0, -'.json'.length));
}

/** All keys, or those of one purpose, sorted by name. */
export function listKeys(workspace: Workspace, purpose?: KeyDescription['purpose']): KeyDescription[] {
  return keyNames(workspace)
    .map((name) => readKey(workspace, name))
    .filter((description) => purpose === undefined || description.purpose === purpose);
}

/** One key that units of a symmetric class hold. */
export interface ClassKey {
  readonly description: KeyDescription;
  /** The cohort it belongs to; undefined for the key of the whole class. */
  readonly cohort: string | undefined;
}

/** The keys of a symmetric class: the class key where there is one, then the cohort keys by name. */
export function classKeys(workspace: Workspace, className: string): ClassKey[] {
  const prefix = `${requireClassName(className)}.`;
  const whole = listKeys(workspace, 'class').filter(({ name }) => name === className);
  const cohorts = listKeys(workspace, 'cohort').filter(({ name }) => name.startsWith(prefix));
  return [
    ...whole.map((description) => ({ description, cohort: undefined })),
    ...cohorts.map((description) => ({ description, cohort: description.name.slice(prefix.length) })),
  ];
}

/** The keys that content keys of a class are wrapped under: the class's where there is one, then the cohorts' by name. */
export function contentKeys(workspace: Workspace, className: string): ClassKey[] {
  const whole = contentKeyName(className);
  const all = listKeys(workspace, 'content');
  return [
    ...all.filter(({ name }) => name === whole).map((description) => ({ description, cohort: undefined })),
    ...all
      .filter(({ name }) => name.startsWith(`${whole}.`))
      .map((description) => ({ description, cohort: description.name.slice(whole.length + 1) })),
  ];
}

/** Files a certificate chain under a key's name, leaf first, once. */
export function addCertificates(workspace: Workspace, name: string, chain: readonly Uint8Array[]): void {
  const { certificates: file } = keyPaths(workspace, name);
  const text = chain.map((der) => toPem('CERTIFICATE', der)).join('');
  if (!workspace.files.createNew(file, text)) throw keyNameTaken(name);
}

/** A key's certificate chain, leaf first; empty where none is filed. Throws file-damaged. */
export function readCertificates(workspace: Workspace, name: string): Certificate[] {
  const { certificates: file } = keyPaths(workspace, name);
  if (!workspace.files.exists(file)) return [];
  try {
    const blocks = fromPem(workspace.files.readText(file)).filter(({ label }) => label === 'CERTIFICATE');
    if (blocks.length === 0) throw new Error('it holds no certificate');
    return blocks.map(({ der }) => parseCertificate(der));
  } catch (error) {
    throw damaged(workspace, file, error);
  }
}

function damaged(workspace: Workspace, file: string, error: unknown): unknown {
  if (error instanceof WorkspaceError || !(error instanceof Error)) return error;
  return new WorkspaceError(
    'file-damaged',
    `${workspace.show(file)} is not as it was written: ${error.message}`,
    {
      hint: 'restore it from git; nothing was changed',
      file,
      cause: error,
    },
  );
}

function noSuchKey(workspace: Workspace, name: string): WorkspaceError {
  const known = workspace.files.list(workspace.path('keys')).map((file) => file.replace(/\.json$/, ''));
  return new WorkspaceError('not-found', `this workspace has no key ${name}`, {
    hint:
      known.length > 0
        ? `its keys are ${known.join(', ')}`
        : 'make one first: fieldseal root create, signer create, class-key create',
  });
}

function keyNameTaken(name: string): WorkspaceError {
  return new WorkspaceError(
    'name-taken',
    `there is a key or certificate ${name} already; it was left as it is`,
    {
      hint: 'choose another name; a key that is on record is never overwritten',
    },
  );
}

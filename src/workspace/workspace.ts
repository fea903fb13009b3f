import { existsSync, statSync } from 'node:fs';
import { dirname, join, relative, resolve } from 'node:path';
import { formatUuid, parseUuid, vendorId } from '../suit/index.ts';
import { invalidFile, WorkspaceError } from './errors.ts';
import { type Disk, type Files, filesOn } from './files.ts';
import type { WorkspaceFile } from './schema.ts';

export type WorkspaceKind = 'trial' | 'production';

/** An open workspace: what its file says, and the ports that everything in this room works through. */
export interface Workspace {
  /** Absolute path of the folder. */
  readonly root: string;
  readonly vendorDomain: string;
  /** Vendor identifier, 16 bytes. */
  readonly vendorId: Uint8Array;
  readonly kind: WorkspaceKind;
  /** Random identifier given when the workspace was made. */
  readonly lineage: string;
  readonly files: Files;
  now(): Date;
  /** Absolute path of a part of the workspace. */
  path(...parts: string[]): string;
  /** A path in the workspace as messages show it. */
  show(path: string): string;
}

/** Ports of an open workspace; both have ordinary defaults. */
export interface WorkspacePorts {
  disk?: Disk;
  now?: () => Date;
}

/** The file that makes a folder a workspace. */
export const WORKSPACE_FILE = 'fieldseal.yaml';

/**
 * Opens the workspace in `folder`, or, without one, the nearest at or above the current folder. Throws
 * `WorkspaceError` not-a-workspace, file-invalid, file-damaged.
 */
export async function openWorkspace(folder?: string, ports: WorkspacePorts = {}): Promise<Workspace> {
  const root = folder === undefined ? findUpward(process.cwd()) : requireWorkspace(folder);
  const files = filesOn(ports.disk);
  const file = join(root, WORKSPACE_FILE);
  const text = files.readText(file);
  const [{ readDocument, mistakeAt }, { workspaceSchema }] = await Promise.all([
    import('./document.ts'),
    import('./schema.ts'),
  ]);
  const facts = readDocument(text, file, workspaceSchema);
  const expected = formatUuid(vendorId(facts.vendor_domain));
  if (facts.vendor_id !== expected) {
    const says = `${facts.vendor_id} is not the identifier of ${facts.vendor_domain}`;
    throw invalidFile(file, [mistakeAt(text, ['vendor_id'], { expected, says })]);
  }
  return makeWorkspace(root, facts, files, ports.now ?? (() => new Date()));
}

/** The workspace that a file's facts describe. */
export function makeWorkspace(root: string, facts: WorkspaceFile, files: Files, now: () => Date): Workspace {
  return {
    root,
    vendorDomain: facts.vendor_domain,
    vendorId: parseUuid(facts.vendor_id),
    kind: facts.kind,
    lineage: facts.lineage,
    files,
    now,
    path: (...parts) => join(root, ...parts),
    show: (path) => relative(root, path),
  };
}

function findUpward(start: string): string {
  for (let folder = resolve(start); ; folder = dirname(folder)) {
    if (existsSync(join(folder, WORKSPACE_FILE))) return folder;
    if (folder === dirname(folder)) break;
  }
  throw new WorkspaceError(
    'not-a-workspace',
    `there is no workspace here: no ${WORKSPACE_FILE} in ${start} or above it`,
    {
      hint: 'change into a workspace, name one with --workspace, or make one: fieldseal init DIR --vendor-domain DOMAIN',
    },
  );
}

function requireWorkspace(folder: string): string {
  const root = resolve(folder);
  if (existsSync(join(root, WORKSPACE_FILE))) return root;
  const what = isFolder(root) ? `holds no ${WORKSPACE_FILE}` : 'is not a folder';
  throw new WorkspaceError('not-a-workspace', `${folder} is not a workspace: it ${what}`, {
    hint: `name the folder that holds ${WORKSPACE_FILE}, or make one: fieldseal init ${folder} --vendor-domain DOMAIN`,
    file: root,
  });
}

function isFolder(path: string): boolean {
  return statSync(path, { throwIfNoEntry: false })?.isDirectory() ?? false;
}

import { existsSync, realpathSync } from 'node:fs';
import { dirname, extname, join, relative, sep } from 'node:path';
import { WorkspaceError } from './errors.ts';
import { FOLDERS } from './init.ts';
import { WORKSPACE_FILE } from './workspace.ts';

const RECORD_FOLDERS = new Set([...FOLDERS, 'attestations']);
// Users may well keep envelopes beside the records.
const RECORD_ENDINGS = new Set(['.json', '.pem', '.yaml']);

/**
 * For an output that may replace a file: throws `WorkspaceError` output-is-record where that file is a key, a counter or a
 * record of any workspace, which nobody means to overwrite and nothing brings back.
 */
export function requireNoRecord(path: string): void {
  if (!existsSync(path)) return;
  const real = realpathSync(path);
  const root = workspaceAbove(dirname(real));
  if (root === undefined || !isRecord(relative(root, real))) return;
  throw new WorkspaceError('output-is-record', `${path} is a record of the workspace; it was left as it is`, {
    hint: 'name a file outside the folders of the workspace',
    file: path,
  });
}

function workspaceAbove(folder: string): string | undefined {
  if (existsSync(join(folder, WORKSPACE_FILE))) return folder;
  const above = dirname(folder);
  return above === folder ? undefined : workspaceAbove(above);
}

function isRecord(path: string): boolean {
  const [first] = path.split(sep);
  if (first === 'private' || path === WORKSPACE_FILE) return true;
  return RECORD_FOLDERS.has(first!) && RECORD_ENDINGS.has(extname(path));
}

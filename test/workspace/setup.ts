import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach } from 'vitest';
import {
  addClass,
  type DeviceClass,
  initWorkspace,
  type Workspace,
  WorkspaceError,
} from '../../src/workspace/index.ts';

const folders: string[] = [];
afterEach(() => {
  for (const folder of folders.splice(0)) rmSync(folder, { recursive: true, force: true });
});

/** An empty folder that is gone after the test. */
export function emptyFolder(): string {
  const folder = mkdtempSync(join(tmpdir(), 'fieldseal-workspace-'));
  folders.push(folder);
  return folder;
}

/** A fresh trial workspace of the invented maker. */
export function freshWorkspace(): Workspace {
  return initWorkspace(join(emptyFolder(), 'greenhouse'), { vendorDomain: 'hollinridge.example' });
}

/** A fresh workspace with the class `vent`. */
export async function withVent(): Promise<{ workspace: Workspace; vent: DeviceClass }> {
  const workspace = freshWorkspace();
  return {
    workspace,
    vent: await addClass(workspace, { name: 'vent', model: 'VC-2', scheme: 'asymmetric' }),
  };
}

/** The error that an action ends with. */
export async function failure(action: () => unknown): Promise<WorkspaceError> {
  try {
    await action();
  } catch (error) {
    if (error instanceof WorkspaceError) return error;
    throw error;
  }
  throw new Error('expected a WorkspaceError, and nothing was thrown');
}

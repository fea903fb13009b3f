import { createSecretSource, type KeyAccess, type KeyPlace, type SecretSource } from '../keys/index.ts';
import { keyPaths, openWorkspace, type Workspace } from '../workspace/index.ts';
import { wrongUse } from './exit.ts';
import type { Call } from './spec.ts';

/** What most commands work in: an open workspace and a way to ask for secrets. */
export interface Session {
  readonly workspace: Workspace;
  readonly secrets: SecretSource;
}

/** Opens the workspace that the call names, or the one around the current folder. */
export async function openSession(call: Call): Promise<Session> {
  const workspace = await openWorkspace(call.workspaceOption);
  return { workspace, secrets: secretsFor(call, workspace.kind === 'production') };
}

/** Secrets by --passphrase-fd, environment or prompt. */
export function secretsFor(call: Call, production: boolean): SecretSource {
  return createSecretSource({ production, passphraseFd: call.passphraseFd });
}

/** How a key of the workspace is reached. */
export function accessTo(session: Session, name: string, module?: string): KeyAccess {
  return {
    file: keyPaths(session.workspace, name).secret,
    secrets: session.secrets,
    production: session.workspace.kind === 'production',
    ...(module !== undefined && { module }),
  };
}

/** Where a new key is to live, by the options --custody, --token and --module. */
export function placeFor(call: Call, workspace: Workspace): (name: string) => KeyPlace {
  const uri = call.text('token');
  const custody = call.text('custody') ?? (uri === undefined ? 'file' : 'token');
  if (custody === 'file') {
    if (uri !== undefined) throw wrongUse('--token does not go with --custody file', 'leave one of them out');
    return (name) => ({ custody: 'file', path: keyPaths(workspace, name).secret });
  }
  if (uri === undefined) {
    throw wrongUse('--custody token needs --token', 'for example: --token "pkcs11:token=Hollin%20Ridge"');
  }
  const module = call.text('module');
  return () => ({ custody: 'token', uri, ...(module !== undefined && { module }) });
}

/** People and backups of a ceremony, by the options --person and --backup. */
export function attendanceOf(call: Call): { people: readonly string[]; backups: readonly string[] } {
  return { people: call.texts('person'), backups: call.texts('backup') };
}

/** The mark that every output of a trial workspace bears. */
export function trialMark(workspace: Workspace): string {
  return workspace.kind === 'trial' ? '  [TRIAL workspace: not for production]' : '';
}

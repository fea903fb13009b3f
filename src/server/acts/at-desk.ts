import type { Incident, Making, StepStanding } from '../../incident/index.ts';
import { listClasses, listKeys, readClass, retirements, type Workspace } from '../../workspace/index.ts';
import { type DeskAct, type OpenedKey, openedKey } from './act.ts';
import { makeCohortKey, makeSpare } from './make-keys.ts';
import { makeSigner } from './make-signer.ts';
import { retire } from './retire.ts';
import { revoke } from './revoke.ts';
import { trustUpdate } from './trust-update.ts';

/** What the desk does for a step of an incident; a string: why it leaves it to the command line; undefined where people do it. */
export async function actFor(
  workspace: Workspace,
  { key, kind, classes }: Incident,
  { step, state, makes }: StepStanding,
): Promise<DeskAct | string | undefined> {
  if (state !== 'open' || key === undefined) return undefined;
  if (makes) return making(workspace, key, makes);
  if (step.id === 'retire') return retire(workspace, key, kind.name);
  if (step.id !== 'trust-update') return undefined;
  const known = new Set(listClasses(workspace));
  const open = classes.filter((name) => known.has(name)).map((name) => readClass(workspace, name));
  return trustUpdate(workspace, key, await Promise.all(open));
}

function making(workspace: Workspace, key: string, makes: Making): DeskAct | string {
  switch (makes.what) {
    case 'signer':
      return withRoot(workspace, makes.root, (root) => makeSigner(workspace, makes, root));
    case 'revocation-list':
      if (!retirements(workspace).has(key)) return `Retire ${key} first: the list names what is retired.`;
      return withRoot(workspace, makes.root, (root) => revoke(workspace, key, root));
    case 'spare-root':
      return makeSpare(workspace, key);
    case 'cohort-key':
      if (!listClasses(workspace).includes(makes.className))
        return 'Its class is no longer in this workspace.';
      return makeCohortKey(workspace, makes.className);
  }
}

/** An act for which a root is opened, where it is on this machine or in a token. */
function withRoot(workspace: Workspace, name: string, act: (root: OpenedKey) => DeskAct): DeskAct | string {
  const root = listKeys(workspace, 'root').find((each) => each.name === name);
  if (!root) return `This workspace has no root called ${name}: do it at the command line.`;
  if (root.custody !== 'offline') return act(openedKey(workspace, name));
  return `${name} is kept on a machine without network, which no desk reaches: it is done there, at the command line, and what it signed is carried back.`;
}

import { LIST_DAYS, madeLists, nextListNumber, writeRevocationList } from '../../authority/index.ts';
import { toHex } from '../../bytes/index.ts';
import { sha256 } from '../../crypto/index.ts';
import type { Workspace } from '../../workspace/index.ts';
import { DeskError } from '../error.ts';
import { act, type DeskAct, type OpenedKey } from './act.ts';

/** Folder of the workspace that the desk writes lists into. */
const FOLDER = 'revocation-lists';

/** The revocation list of a root: `fieldseal revocation-list make`. */
export function revoke(workspace: Workspace, key: string, root: OpenedKey): DeskAct {
  return act({
    says: `Make the revocation list of ${root.name}`,
    consequences: [
      `It names ${key} and every other retired certificate below ${root.name}, for good, and says that the next list comes within ${LIST_DAYS} days.`,
      `${root.name} is opened for this one list. What opens it is used once, and neither kept nor written down.`,
      'It reaches nobody by being made: take it and publish it where certificates are checked. Units read no lists.',
    ],
    confirm: root.name,
    right: 'certify',
    root,
    perform: async ({ typed }) => {
      const file = pathOf(workspace, root.name, nextListNumber(workspace, root.name));
      workspace.files.makeFolder(workspace.path(FOLDER));
      await writeRevocationList(workspace, root.name, { file, days: LIST_DAYS }, { secrets: typed.root() });
    },
  });
}

/** The list of a root that the desk made last, where it is still in its place: its name and its number. */
export function lastList(workspace: Workspace, root: string): { name: string; number: number } | undefined {
  const last = madeLists(workspace, root).at(-1);
  if (!last) return undefined;
  const name = nameOf(root, last.number);
  return workspace.files.list(workspace.path(FOLDER)).includes(name)
    ? { name, number: last.number }
    : undefined;
}

/** A list that the desk made, PEM, as the ledger has it. Throws `DeskError` not-there. */
export function readList(workspace: Workspace, root: string, number: number): { name: string; pem: string } {
  const made = madeLists(workspace, root).find((each) => each.number === number);
  const name = nameOf(root, number);
  if (made && workspace.files.list(workspace.path(FOLDER)).includes(name)) {
    const pem = workspace.files.readText(pathOf(workspace, root, number));
    if (toHex(sha256(new TextEncoder().encode(pem))) === made.sha256) return { name, pem };
  }
  throw new DeskError(
    'not-there',
    `the list ${number} of ${root} is not in the folder ${FOLDER} as it was made`,
    'make the next one: a list is complete each time',
  );
}

const nameOf = (root: string, number: number) => `${root}-${number}.pem`;
const pathOf = (workspace: Workspace, root: string, number: number) =>
  workspace.path(FOLDER, nameOf(root, number));

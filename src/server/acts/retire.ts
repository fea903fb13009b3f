import { readKey, retireKey, type Workspace } from '../../workspace/index.ts';
import { act, type DeskAct, IN_THE_LEDGER } from './act.ts';

/** The key of an incident is used no more: `fieldseal signer retire`, `root retire`. */
export function retire(workspace: Workspace, key: string, kind: string): DeskAct {
  const purpose = readKey(workspace, key).purpose === 'root' ? 'root' : 'signer';
  const reason = kind === 'certificate-expiry' ? 'superseded' : 'leaked';
  const then =
    purpose === 'root'
      ? 'Units that are provisioned from now on hold the spare root in its place; those in the field believe it until a trust update retires it there.'
      : 'Nobody seals with it here any more, whoever knows its passphrase; units in the field believe it until a trust update denies it.';
  return act({
    says: `Retire ${key}`,
    consequences: [then, IN_THE_LEDGER],
    confirm: key,
    perform: async (access) => {
      retireKey(access.workspace, key, purpose, reason);
    },
  });
}

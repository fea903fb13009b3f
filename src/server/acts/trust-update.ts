import { latestPolicy, makeTrustUpdate, standingSigners } from '../../release/index.ts';
import {
  type DeviceClass,
  foreseeNumber,
  readKey,
  trustCounter,
  type Workspace,
} from '../../workspace/index.ts';
import { act, type DeskAct, openedKey } from './act.ts';

const NO_SIGNER =
  'It needs one signer of trust updates for each class; make one, or name one at the command line.';

/** What tells units of a leak: `fieldseal trust-update make`. A string: why it is not done here. */
export function trustUpdate(
  workspace: Workspace,
  key: string,
  classes: readonly DeviceClass[],
): DeskAct | string {
  const { purpose, fingerprint } = readKey(workspace, key);
  const root = purpose === 'root';
  const waiting = classes.filter(({ name, memory }) => {
    const { denied, retired } = latestPolicy(workspace, name);
    return memory.policy !== undefined && !(root ? retired : denied).includes(fingerprint);
  });
  const signers = waiting.map((each) => signerFor(workspace, each, root));
  if (waiting.length === 0 || signers.some((name) => name === undefined)) return NO_SIGNER;
  const names = waiting.map(({ name }) => name).join(', ');
  return act({
    says: `Make the trust update for ${names}`,
    consequences: [
      `Units of ${names} that take it no longer believe ${root ? 'anything below ' : ''}${key}. What a unit took is never taken back; what runs goes on running.`,
      'It reaches nobody by being made: try it on one unit, then send it by every channel.',
    ],
    confirm: key,
    opens: [...new Set(signers as string[])].map((name) => openedKey(workspace, name)),
    perform: async ({ secrets, tell }) => {
      for (const [i, { name }] of waiting.entries()) {
        tell(`the trust update of ${name}`, i, waiting.length);
        await makeTrustUpdate({
          ...{ workspace, secrets },
          className: name,
          deny: root ? [] : [key],
          retireRoots: root ? [key] : [],
          signer: signers[i],
          out: placeOf(workspace, waiting[i]!),
        });
      }
    },
  });
}

/** Only a signer below a spare root may retire a root; otherwise the one that stands, where there is no choice. */
function signerFor(workspace: Workspace, deviceClass: DeviceClass, root: boolean): string | undefined {
  const all = standingSigners(workspace, deviceClass, 'trust');
  const fit = root ? all.filter((each) => each.root.spare) : all;
  return fit.length === 1 ? fit[0]!.description.name : undefined;
}

function placeOf(workspace: Workspace, deviceClass: DeviceClass): string {
  const { name } = deviceClass;
  const number = foreseeNumber(workspace, { ...deviceClass, name: trustCounter(name) });
  workspace.files.makeFolder(workspace.path('envelopes'));
  return workspace.path('envelopes', `${name}-trust-${number}.suit`);
}

import { latestPolicy, makeTrustUpdate, standingSigners } from '../../release/index.ts';
import {
  type DeviceClass,
  foreseeNumber,
  readKey,
  trustCounter,
  type Workspace,
} from '../../workspace/index.ts';
import { act, type DeskAct, openedKey } from './act.ts';
import { AtField } from './at-field.ts';

const NO_SIGNER =
  'It needs a signer of trust updates for each class: make one, or name one for each at the command line.';

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
  const fit = waiting.map((each) => signersFor(workspace, each, root));
  const unclear = fit.filter(({ length }) => length > 1);
  const choices = (unclear[0] ?? []).filter((name) => unclear.every((names) => names.includes(name)));
  const nobody = fit.some(({ length }) => length === 0) || (unclear.length > 0 && choices.length === 0);
  if (waiting.length === 0 || nobody) return NO_SIGNER;
  const names = waiting.map(({ name }) => name).join(', ');
  return act({
    says: `Make the trust update for ${names}`,
    consequences: [
      `Units of ${names} that take it no longer believe ${root ? 'anything below ' : ''}${key}. What a unit took is never taken back; what runs goes on running.`,
      'It reaches nobody by being made: try it on one unit, then send it by every channel.',
    ],
    confirm: key,
    opens: opened(workspace, fit.filter(({ length }) => length === 1).flat()),
    choices: opened(workspace, choices),
    perform: async ({ secrets, signer, tell }) => {
      if (choices.length > 0 && !choices.includes(signer ?? '')) throw notChosen(choices);
      for (const [i, { name }] of waiting.entries()) {
        tell(`the trust update of ${name}`, i, waiting.length);
        await makeTrustUpdate({
          ...{ workspace, secrets },
          className: name,
          deny: root ? [] : [key],
          retireRoots: root ? [key] : [],
          signer: fit[i]!.length === 1 ? fit[i]![0] : signer,
          out: placeOf(workspace, waiting[i]!),
        });
      }
    },
  });
}

/** Only a signer below a spare root may retire a root. */
function signersFor(workspace: Workspace, deviceClass: DeviceClass, root: boolean): string[] {
  const all = standingSigners(workspace, deviceClass, 'trust');
  const fit = root ? all.filter((each) => each.root.spare) : all;
  return fit.map(({ description }) => description.name);
}

const opened = (workspace: Workspace, names: readonly string[]) =>
  [...new Set(names)].map((name) => openedKey(workspace, name));

function notChosen(choices: readonly string[]): AtField {
  const says = `It is not said which signer of trust updates is to sign: ${choices.join(' or ')}.`;
  return new AtField({ code: 'signer-unclear', message: says, hint: 'Choose one of them.' }, 'signer');
}

function placeOf(workspace: Workspace, deviceClass: DeviceClass): string {
  const { name } = deviceClass;
  const number = foreseeNumber(workspace, { ...deviceClass, name: trustCounter(name) });
  workspace.files.makeFolder(workspace.path('envelopes'));
  return workspace.path('envelopes', `${name}-trust-${number}.suit`);
}

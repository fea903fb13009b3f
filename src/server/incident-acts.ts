import type { Incident, StepStanding } from '../incident/index.ts';
import type { SecretSource } from '../keys/index.ts';
import { latestPolicy, makeTrustUpdate, standingSigners, trustUpdates } from '../release/index.ts';
import {
  type DeviceClass,
  foreseeNumber,
  listClasses,
  readClass,
  readKey,
  retireKey,
  trustCounter,
  type Workspace,
} from '../workspace/index.ts';

/** How keys are reached, and who is told how far it is. */
export interface ActAccess {
  readonly workspace: Workspace;
  readonly secrets: SecretSource;
  tell(doing: string, done: number, total: number): void;
}

/** A step of a response that the desk does itself, with what follows from it. */
export interface DeskAct {
  readonly says: string;
  readonly consequences: readonly string[];
  /** Must be typed before it is done. */
  readonly confirm: string;
  /** Keys that it opens; never a root. */
  readonly opens: readonly string[];
  perform(access: ActAccess): Promise<void>;
}

const IN_THE_LEDGER = 'It is entered in the ledger, and is never taken back.';

/** What the desk does for a step of an incident; undefined where it is not the desk's. */
export async function actFor(
  workspace: Workspace,
  { key, kind, classes }: Incident,
  { step, state }: StepStanding,
): Promise<DeskAct | undefined> {
  if (state !== 'open' || key === undefined) return undefined;
  if (step.id === 'retire') return retire(workspace, key, kind.name);
  if (step.id !== 'trust-update') return undefined;
  const known = new Set(listClasses(workspace));
  const open = classes.filter((name) => known.has(name)).map((name) => readClass(workspace, name));
  return trustUpdate(workspace, key, await Promise.all(open));
}

function retire(workspace: Workspace, key: string, kind: string): DeskAct {
  const purpose = readKey(workspace, key).purpose === 'root' ? 'root' : 'signer';
  const reason = kind === 'certificate-expiry' ? 'superseded' : 'leaked';
  const then =
    purpose === 'root'
      ? 'Units that are provisioned from now on hold the spare root in its place; those in the field believe it until a trust update retires it there.'
      : 'Nobody seals with it here any more, whoever knows its passphrase; units in the field believe it until a trust update denies it.';
  return {
    says: `Retire ${key}`,
    consequences: [then, IN_THE_LEDGER],
    confirm: key,
    opens: [],
    perform: async (access) => {
      retireKey(access.workspace, key, purpose, reason);
    },
  };
}

function trustUpdate(
  workspace: Workspace,
  key: string,
  classes: readonly DeviceClass[],
): DeskAct | undefined {
  const { purpose, fingerprint } = readKey(workspace, key);
  const root = purpose === 'root';
  const waiting = classes.filter(({ name, memory }) => {
    const { denied, retired } = latestPolicy(workspace, name);
    return memory.policy !== undefined && !(root ? retired : denied).includes(fingerprint);
  });
  const signers = waiting.map((each) => signerFor(workspace, each, root));
  if (waiting.length === 0 || signers.some((name) => name === undefined)) return undefined;
  const names = waiting.map(({ name }) => name).join(', ');
  return {
    says: `Make the trust update for ${names}`,
    consequences: [
      `Units of ${names} that take it no longer believe ${root ? 'anything below ' : ''}${key}. What a unit took is never taken back; what runs goes on running.`,
      'It reaches nobody by being made: try it on one unit, then send it by every channel.',
    ],
    confirm: key,
    opens: [...new Set(signers as string[])],
    perform: async ({ tell, ...access }) => {
      for (const [i, { name }] of waiting.entries()) {
        tell(`the trust update of ${name}`, i, waiting.length);
        await makeTrustUpdate({
          ...access,
          className: name,
          deny: root ? [] : [key],
          retireRoots: root ? [key] : [],
          signer: signers[i],
          out: placeOf(access.workspace, waiting[i]!),
        });
      }
    },
  };
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

/** Why a step is left to the command line. */
export const LEFT_OUT: Readonly<Record<string, string>> = {
  'new-signer': 'A root certifies it, and the desk never opens a root: do it at the command line.',
  'trust-signer': 'A root certifies it, and the desk never opens a root: do it at the command line.',
  'new-spare': 'The desk makes no roots: do it at the command line, or on a machine without network.',
  revoke: 'The root signs it, and the desk never opens a root: do it at the command line.',
  'trust-update':
    'It needs one signer of trust updates for each class; make one, or name one at the command line.',
};

/** Days of silence after which a unit is looked for; the page lets them be changed. */
const SILENT_DAYS = 30;

interface Page {
  readonly says: string;
  readonly page: string;
}

/** Pages of the desk that help with a step. */
export function pagesFor(workspace: Workspace, { key, classes }: Incident, step: string): Page[] {
  const pages = PAGES[step];
  return pages ? [...new Map(pages(workspace, classes, key).map((each) => [each.page, each])).values()] : [];
}

type PagesOf = (workspace: Workspace, classes: readonly string[], key: string | undefined) => Page[];

const PAGES: Readonly<Record<string, PagesOf>> = {
  halt: () => [{ says: 'Pause or halt the broadcast here', page: '/broadcast' }],
  'at-risk': (_, classes) =>
    classes.map((name) => ({
      says: `Units of ${name} that were not heard of for ${SILENT_DAYS} days`,
      page: `/units?class=${name}&silent_days=${SILENT_DAYS}`,
    })),
  exposure: (_, __, key) =>
    key === undefined
      ? []
      : [{ says: `What ${key} exposes`, page: `/trust?key=${encodeURIComponent(`key ${key}`)}` }],
  send: (workspace, classes) => classes.flatMap((name) => trustUpdatePages(workspace, name)),
  reseal: (_, classes) =>
    classes.map((name) => ({ says: `Seal for ${name} here`, page: `/seal?class=${name}` })),
  rehearse: (_, classes) =>
    classes.map((name) => ({ says: `Rehearse for ${name} here`, page: `/rehearse?class=${name}` })),
  prove: () => [{ says: 'Challenge a unit here', page: '/challenge' }],
};

/** The last trust update of a class: to be tried on a unit, and to be taken from the desk. */
function trustUpdatePages(workspace: Workspace, className: string): Page[] {
  const last = trustUpdates(workspace, className).at(-1);
  if (!last) return [];
  const { file, sha256 } = last.envelope as { file: string; sha256: string };
  return [
    { says: `Try ${file} on a unit`, page: `/ask?envelope=${sha256}` },
    { says: `Look inside ${file}, or take it`, page: `/inside?file=${sha256}` },
  ];
}

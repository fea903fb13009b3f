/** Steps that make a key or have a root sign: what is made, exactly, and what shows that it was. */
import type { KeyType } from '../crypto/index.ts';
import { standingSigners } from '../release/index.ts';
import { listKeys, rootStandings } from '../workspace/index.ts';
import type { SignerPurpose } from '../x509/index.ts';
import { type Case, type Entry, entryText, type Step } from './case.ts';
import { type Making, makingCommand } from './making.ts';
import type { KeyKind } from './subject.ts';

const PURPOSES: Partial<Record<KeyKind, SignerPurpose>> = {
  'trust signer': 'trust',
  'announcement signer': 'announcement',
};
const TYPES: Readonly<Record<string, KeyType>> = { Ed25519: 'ed25519', 'HSS-LMS': 'hss-lms' };

const rootOf = ({ subject }: Case) => subject?.root ?? 'root';
const purposeFor = ({ subject }: Pick<Case, 'subject'>): SignerPurpose =>
  (subject && PURPOSES[subject.kind]) ?? 'release';
const unretiredSpare = ({ workspace }: Case) =>
  rootStandings(workspace).find(({ spare, retired }) => spare && !retired)?.name;

type MakingSigner = Extract<Making, { what: 'signer' }>;

/** A step whose command makes just that. */
function making(makes: (about: Case) => Making): Pick<Step, 'commands' | 'makes'> {
  return { makes, commands: (about) => [makingCommand(makes(about), about.workspace)] };
}

/** A signer for the classes of the case, with a key of the type that their units ask for. */
function signer(about: Case, more: Pick<MakingSigner, 'purpose' | 'root' | 'generation'>): MakingSigner {
  const { classes } = about;
  const type = TYPES[classes[0]?.profile.authentication.name ?? ''] ?? 'p256';
  return { what: 'signer', classes: classes.map(({ name }) => name), type, ...more };
}

const belowSpare = (about: Case, purpose: SignerPurpose) =>
  signer(about, { purpose, root: unretiredSpare(about) ?? 'spare-root', generation: undefined });

export const NEW_SIGNER: Step = {
  id: 'new-signer',
  title: 'Make a new signer, with a new key in other custody',
  why: 'units must have somebody to believe before they are told to believe the old one no more',
  ...making((about) =>
    signer(about, {
      purpose: purposeFor(about),
      root: rootOf(about),
      generation: (about.subject?.certificate?.generation ?? 0) + 1,
    }),
  ),
  evidence: (about) => standing(about, (root) => !root.retired),
};

export const SPARE_SIGNER: Step = {
  id: 'new-signer',
  title: 'Make a signer of releases below the spare root',
  why: 'after the change of root units believe only signers below the spare one',
  ...making((about) => belowSpare(about, 'release')),
  evidence: (about) => standing(about, (root) => root.spare),
  impossible: withoutSpare,
};

export const TRUST_SIGNER: Step = {
  id: 'trust-signer',
  title: 'Have a signer of trust updates below the spare root',
  why: 'only an update signed below a spare root retires another root',
  ...making((about) => belowSpare(about, 'trust')),
  evidence: ({ workspace, classes }) => {
    const found = classes.map((each) =>
      standingSigners(workspace, each, 'trust').find(({ root }) => root.spare),
    );
    if (found.length === 0 || found.some((one) => one === undefined)) return undefined;
    return [...new Set(found.map((one) => one!.description.name))].join(', ');
  },
  impossible: withoutSpare,
};

/** A signer of releases for every class that is not the subject, below such a root. */
function standing(
  { workspace, classes, subject }: Case,
  below: (root: { spare: boolean; retired: boolean }) => boolean,
): string | undefined {
  const roots = rootStandings(workspace);
  const found = classes.map((each) =>
    standingSigners(workspace, each, purposeFor({ subject })).find(
      ({ description, root }) =>
        description.name !== subject?.name && roots.some((one) => one.name === root.name && below(one)),
    ),
  );
  if (found.length === 0 || found.some((one) => one === undefined)) return undefined;
  return [...new Set(found.map((one) => one!.description.name))].join(', ');
}

/** Why a change of root cannot be done here. */
export function withoutSpare(about: Case): string | undefined {
  if (about.subject && unretiredSpare(about) !== undefined) return undefined;
  return 'this workspace has no spare root: the root of fielded units is changed by service only';
}

export const REVOKE: Step = {
  id: 'revoke',
  title: 'Make and publish the revocation list of its root',
  why: 'for servers and people that check certificates; units do not read it',
  makes: (about) => ({ what: 'revocation-list', root: rootOf(about) }),
  commands: (about) => {
    const { workspace, subject } = about;
    const root = listKeys(workspace, 'root').find(({ name }) => name === rootOf(about));
    return root?.custody === 'offline'
      ? [
          `fieldseal authority revoke ${subject?.certificate?.serial ?? 'SERIAL'} --dir DIR --reason leaked --out FILE`,
        ]
      : [makingCommand({ what: 'revocation-list', root: rootOf(about) }, workspace)];
  },
  evidence: ({ since, subject }) => {
    const serial = subject?.certificate?.serial;
    const entry = since.find(
      ({ kind, facts }) =>
        kind === 'revocation-list-made' && (facts.serials as string[]).includes(serial ?? ''),
    );
    return entry && entryText(entry);
  },
};

export const NEW_SPARE: Step = {
  id: 'new-spare',
  title: 'Make another spare root for units that are still to be made',
  why: 'the spare that took over has no spare of its own',
  ...making(() => ({ what: 'spare-root' })),
  evidence: ({ since }) => {
    const entry = since.find(isSpareMade);
    return entry && entryText(entry);
  },
};

function isSpareMade({ kind, facts }: Entry): boolean {
  return (kind === 'root-made' || kind === 'root-adopted') && facts.spare === true;
}

export const NEW_COHORT: Step = {
  id: 'new-cohort',
  title: 'Make a new key for the units of the cohort',
  why: 'they get it by service only; the other cohorts go on as they are',
  ...making(({ classes }) => ({ what: 'cohort-key', className: classes[0]?.name ?? 'CLASS' })),
  evidence: ({ since, classes: [first] }) => {
    const entry = since.find(
      ({ facts }) => facts.purpose === 'cohort' && String(facts.key).startsWith(`${first?.name}.`),
    );
    return entry && entryText(entry);
  },
};

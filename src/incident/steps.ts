/** Steps that several responses share: what is done, why, the command that does it, and what shows that it was done. */
import { latestPolicy, standingSigners } from '../release/index.ts';
import { listKeys, retirements, rootStandings } from '../workspace/index.ts';
import type { SignerPurpose } from '../x509/index.ts';
import { type Case, type Entry, entryText, forEachClass, type Step } from './case.ts';
import type { KeyKind } from './subject.ts';

const nobody = () => [];
const keyOf = ({ subject }: Case) => subject?.name ?? 'KEY';
const rootOf = ({ subject }: Case) => subject?.root ?? 'root';
const spareOf = ({ workspace }: Case) =>
  rootStandings(workspace).find(({ spare, retired }) => spare && !retired)?.name ?? 'spare-root';
const generationOf = ({ subject }: Case) => (subject?.certificate?.generation ?? 0) + 1;
/** The trust signer below the spare root, once there is one. */
function trustSignerOf({ workspace, classes: [first] }: Case): string {
  const found = first && standingSigners(workspace, first, 'trust').find(({ root }) => root.spare);
  return found?.description.name ?? 'NAME';
}
const custodyOf = ({ workspace }: Case) => (workspace.kind === 'production' ? ' --token URI' : '');
const algorithmOf = ({ classes: [first] }: Case) => {
  const name = first?.profile.authentication.name;
  return name === 'Ed25519' ? ' --algorithm ed25519' : name === 'HSS-LMS' ? ' --algorithm hss-lms' : '';
};
const classOptions = ({ classes }: Case) => classes.map(({ name }) => ` --class ${name}`).join('');
const everyClass = (command: (className: string, about: Case) => string) => (about: Case) =>
  about.classes.map(({ name }) => command(name, about));
const PURPOSES: Partial<Record<KeyKind, SignerPurpose>> = {
  'trust signer': 'trust',
  'announcement signer': 'announcement',
};
const purposeFor = ({ subject }: Pick<Case, 'subject'>): SignerPurpose =>
  (subject && PURPOSES[subject.kind]) ?? 'release';
const purposeOption = (about: Case) =>
  purposeFor(about) === 'release' ? '' : ` --purpose ${purposeFor(about)}`;

export const EXPOSURE: Step = {
  id: 'exposure',
  title: 'Know what the holder can do, whom it reaches, and which releases are in doubt',
  why: 'the later steps are aimed at these classes and units; go through the releases since the earliest doubt one by one',
  commands: (about) => [`fieldseal exposure ${keyOf(about)} --since DATE`],
};

export const HALT: Step = {
  id: 'halt',
  title: 'Stop sending releases, and stop the service that hands them out',
  why: 'nothing more goes out until it is known what is genuine',
  commands: everyClass((name) => `fieldseal broadcast halt ${name} --reason TEXT --depot DIR`),
  evidence: (about) =>
    forEachClass(
      about,
      ({ kind, facts }, { name }) =>
        kind === 'broadcast-step' && facts.class === name && facts.step === 'broadcast-halted',
    ),
};

export const RETIRE_SIGNER: Step = {
  id: 'retire',
  title: 'Retire the signer in this workspace',
  why: 'nobody seals with it any more, whoever knows its passphrase',
  commands: (about) => [`fieldseal signer retire ${keyOf(about)} --reason leaked`],
  evidence: retiredEvidence,
};

export const RETIRE_ROOT: Step = {
  id: 'retire',
  title: 'Retire the root in this workspace',
  why: 'units that are provisioned from now on hold the spare root in its place',
  commands: (about) => [`fieldseal root retire ${keyOf(about)} --reason leaked`],
  evidence: retiredEvidence,
};

function retiredEvidence({ workspace, subject }: Case): string | undefined {
  const retired = subject && retirements(workspace).get(subject.name);
  return retired && `ledger entry ${retired.entry}`;
}

export const NEW_SIGNER: Step = {
  id: 'new-signer',
  title: 'Make a new signer, with a new key in other custody',
  why: 'units must have somebody to believe before they are told to believe the old one no more',
  commands: (about) => [
    `fieldseal signer create NAME${purposeOption(about)}${classOptions(about)} --root ${rootOf(about)} --generation ${generationOf(about)}${algorithmOf(about)}${custodyOf(about)}`,
  ],
  evidence: (about) => standing(about, (root) => !root.retired),
};

export const SPARE_SIGNER: Step = {
  id: 'new-signer',
  title: 'Make a signer of releases below the spare root',
  why: 'after the change of root units believe only signers below the spare one',
  commands: (about) => [
    `fieldseal signer create NAME${classOptions(about)} --root ${spareOf(about)}${algorithmOf(about)}${custodyOf(about)}`,
  ],
  evidence: (about) => standing(about, (root) => root.spare),
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

function withoutSpare({ workspace, subject }: Case): string | undefined {
  if (rootStandings(workspace).some(({ spare, retired }) => spare && !retired && subject)) return undefined;
  return 'this workspace has no spare root: the root of fielded units is changed by service only';
}

export const TRUST_SIGNER: Step = {
  id: 'trust-signer',
  title: 'Have a signer of trust updates below the spare root',
  why: 'only an update signed below a spare root retires another root',
  commands: (about) => [
    `fieldseal signer create NAME --purpose trust${classOptions(about)} --root ${spareOf(about)}${algorithmOf(about)}${custodyOf(about)}`,
  ],
  evidence: ({ workspace, classes }) => {
    const found = classes.map((each) =>
      standingSigners(workspace, each, 'trust').find(({ root }) => root.spare),
    );
    if (found.length === 0 || found.some((one) => one === undefined)) return undefined;
    return [...new Set(found.map((one) => one!.description.name))].join(', ');
  },
  impossible: withoutSpare,
};

export const DENY: Step = {
  id: 'trust-update',
  title: 'Make the trust update that denies it',
  why: 'units read no lists: this is how they learn, and it goes first, by every channel',
  commands: everyClass(
    (name, about) => `fieldseal trust-update make ${name} --deny ${keyOf(about)} --out ${name}-trust.suit`,
  ),
  evidence: ({ workspace, classes, subject }) =>
    classes.length > 0 &&
    classes.every(({ name }) => latestPolicy(workspace, name).denied.includes(subject?.fingerprint ?? ''))
      ? 'the last trust update of each class denies it'
      : undefined,
  impossible: deafClasses,
};

export const ROTATE: Step = {
  id: 'trust-update',
  title: 'Make the trust update that retires the root, signed below the spare root',
  why: 'from then on units believe nothing below the leaked root; what runs goes on running',
  commands: everyClass(
    (name, about) =>
      `fieldseal trust-update make ${name} --retire-root ${keyOf(about)} --signer ${trustSignerOf(about)} --out ${name}-trust.suit`,
  ),
  evidence: ({ workspace, classes, subject }) =>
    classes.length > 0 &&
    classes.every(({ name }) => latestPolicy(workspace, name).retired.includes(subject?.fingerprint ?? ''))
      ? 'the last trust update of each class retires it'
      : undefined,
  impossible: (about) => withoutSpare(about) ?? deafClasses(about),
};

function deafClasses({ classes }: Case): string | undefined {
  const deaf = classes.filter(({ memory }) => memory.policy === undefined).map(({ name }) => name);
  if (deaf.length === 0 || deaf.length < classes.length) return undefined;
  return `units of ${deaf.join(', ')} have no policy area and take no trust updates: only service reaches them`;
}

export const SEND: Step = {
  id: 'send',
  title: 'Try the trust update on one unit, then send it by every channel',
  why: 'what units take from it is never taken back; the release comes after it, or the old key still installs in between',
  commands: everyClass((name) => `fieldseal check ${name}-trust.suit --unit ${name}-0001.unit`),
};

export const RESEAL: Step = {
  id: 'reseal',
  title: 'Seal the good release again: a new number, by the new signer',
  why: 'units that took something else leave it for this one; where a forgery was seen, take a number above its own (--sequence)',
  commands: everyClass((name) => `fieldseal seal IMAGE --class ${name} --version VERSION --out ${name}.suit`),
  evidence: (about) =>
    forEachClass(about, ({ kind, facts }, { name }) => kind === 'sealed' && facts.class === name),
};

export const REHEARSE: Step = {
  id: 'rehearse',
  title: 'Rehearse it, then send it to a pilot group with every hardware revision, then to all',
  why: 'an answer in a hurry that strands units is worse than the leak',
  commands: everyClass((name) => `fieldseal rehearse ${name}.suit --class ${name}`),
};

export const REVOKE: Step = {
  id: 'revoke',
  title: 'Make and publish the revocation list of its root',
  why: 'for servers and people that check certificates; units do not read it',
  commands: (about) => {
    const { workspace, subject } = about;
    const root = listKeys(workspace, 'root').find(({ name }) => name === rootOf(about));
    return root?.custody === 'offline'
      ? [
          `fieldseal authority revoke ${subject?.certificate?.serial ?? 'SERIAL'} --dir DIR --reason leaked --out FILE`,
        ]
      : [`fieldseal revocation-list make --root ${rootOf(about)} --out FILE`];
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
  commands: (about) => [`fieldseal root create --spare --name NAME${custodyOf(about)}`],
  evidence: ({ since }) => {
    const entry = since.find(isSpareMade);
    return entry && entryText(entry);
  },
};

function isSpareMade({ kind, facts }: Entry): boolean {
  return (kind === 'root-made' || kind === 'root-adopted') && facts.spare === true;
}

export const AT_RISK: Step = {
  id: 'at-risk',
  title: 'Keep a list of units that were not heard from since',
  why: 'they believe the old key until they hear the update: asleep, in store, or cut off',
  commands: (about) => [`fieldseal exposure ${keyOf(about)} --json`],
};

export const PROVE: Step = {
  id: 'prove',
  title: 'Ask units to prove what they run',
  why: 'what was installed with the leaked key goes on running until another image takes its place',
  commands: nobody,
};

export const SERVICE: Step = {
  id: 'service',
  title: 'Serve the units at their place: provision them anew',
  why: 'only what is done at the unit itself is beyond the reach of whoever holds the key',
  commands: everyClass((name) => `fieldseal provision ${name} --serial SERIAL --out ${name}-SERIAL.unit`),
};

export const OTHER_SCHEME: Step = {
  id: 'scheme',
  title: 'Decide what the class becomes: the asymmetric scheme, or new keys in smaller cohorts',
  why: 'the next leak of a shared key is as large as the group that shares it; under signatures no unit holds anything to leak',
  commands: everyClass((name) => `fieldseal class add ${name}-2 --model MODEL --scheme asymmetric`),
};

export const NEW_COHORT: Step = {
  id: 'new-cohort',
  title: 'Make a new key for the units of the cohort',
  why: 'they get it by service only; the other cohorts go on as they are',
  commands: (about) => [`fieldseal cohort-key create ${about.classes[0]?.name ?? 'CLASS'} COHORT`],
  evidence: ({ since, classes: [first] }) => {
    const entry = since.find(
      ({ facts }) => facts.purpose === 'cohort' && String(facts.key).startsWith(`${first?.name}.`),
    );
    return entry && entryText(entry);
  },
};

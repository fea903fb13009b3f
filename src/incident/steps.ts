/** Steps that several responses share: what is done, why, the command that does it, and what shows that it was done. */
import { latestPolicy, standingSigners } from '../release/index.ts';
import { retirements } from '../workspace/index.ts';
import { type Case, forEachClass, type Step } from './case.ts';
import { withoutSpare } from './key-steps.ts';

const nobody = () => [];
const keyOf = ({ subject }: Case) => subject?.name ?? 'KEY';
/** The trust signer below the spare root, once there is one. */
function trustSignerOf({ workspace, classes: [first] }: Case): string {
  const found = first && standingSigners(workspace, first, 'trust').find(({ root }) => root.spare);
  return found?.description.name ?? 'NAME';
}
const everyClass = (command: (className: string, about: Case) => string) => (about: Case) =>
  about.classes.map(({ name }) => command(name, about));

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

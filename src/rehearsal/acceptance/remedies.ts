import type { RefusalCode } from '../../unit/index.ts';
import type { Group } from './grouping.ts';
import type { FactName } from './inventory/facts.ts';
import type { Answer } from './judge.ts';
import type { Comparands } from './payload.ts';

/** Groups that refuse for one reason, and what would have their units accept. */
export interface Remedy {
  readonly code: RefusalCode;
  readonly step: string;
  readonly says: string;
  readonly classes: readonly string[];
  units: number;
  groups: number;
  /** What to change, the simplest first. */
  readonly changes: readonly string[];
}

/** A group and what its units would say. */
export interface Judged {
  readonly group: Group;
  readonly answer: Answer;
}

/** One row for each reason and class, the one that leaves most units behind first. */
export function remediesFor(judged: readonly Judged[], payload: Comparands): Remedy[] {
  const byReason = new Map<string, Judged[]>();
  for (const each of judged) {
    if (!each.answer.refusal) continue;
    const key = `${each.answer.refusal.code} ${each.group.ofClass.name}`;
    byReason.set(key, [...(byReason.get(key) ?? []), each]);
  }
  return [...byReason.values()].map((all) => remedyFor(all, payload)).toSorted((a, b) => b.units - a.units);
}

function remedyFor(all: readonly Judged[], payload: Comparands): Remedy {
  const { code, step, says, next } = all[0]!.answer.refusal!;
  const groups = all.map(({ group }) => group);
  const changes = CHANGES[code]?.(groups, payload) ?? [];
  return {
    code,
    step,
    says,
    classes: [...new Set(groups.map(({ ofClass }) => ofClass.name))],
    units: groups.reduce((sum, { units }) => sum + units, 0),
    groups: groups.length,
    changes: changes.length > 0 ? changes : [next],
  };
}

type Change = (groups: readonly Group[], payload: Comparands) => string[];

/** Every change that follows from the facts of the units; for the others the advice of the refusal stands. */
const CHANGES: Partial<Record<RefusalCode, Change>> = {
  'sequence-number-too-low': (groups) => [
    `seal again under a number above ${highestOf(groups, ['sequence_floor', 'sequence_number', 'other_sequence_number'])}, the highest that these units have seen`,
  ],
  'sequence-number-used': (groups) => [
    `seal again under a number above ${highestOf(groups, ['sequence_floor', 'sequence_number', 'other_sequence_number'])}: another manifest has this one already`,
  ],
  'security-version-below-floor': (groups) => [
    `seal with security version ${highestOf(groups, ['security_version'])} at least; if the release has the flaw that the floor shuts out, mend it first`,
  ],
  'signer-generation-too-low': (groups) => [
    `have a signer of generation ${highestOf(groups, ['signer_generation'])} or later sign`,
    'or add its signature to this release: fieldseal signature add',
  ],
  'signer-denied': () => [
    'have a signer that these units do not deny sign: a second signature on this release, or the release sealed again',
  ],
  'signer-not-anchored': (groups) => [
    `have a second signer sign under a root that these units trust (${anchorsOf(groups)}): fieldseal signature add`,
    'or send them a stepping-stone release first, sealed under that root, which brings what this one needs',
  ],
  'authentications-too-few': () => ['have the second signer sign: fieldseal signature add'],
  'role-missing': () => ['have a signer of the role that is missing sign: fieldseal signature add'],
  'signer-not-for-this-class': (groups) => [
    `have a signer sign whose certificate names the class ${classesOf(groups)}, or issue it a certificate that does`,
  ],
  'signer-is-for-trial': () => [
    'seal in the production workspace; trial signers never count on production units',
  ],
  'image-too-large': (groups, payload) => [
    `make the image fit into ${lowestOf(groups, ['slot_size']) ?? 'the slot of the class'} bytes: ${sizeText(payload)}`,
    'or seal it for units with a larger slot only, and keep an older line for these',
  ],
  'precursor-wrong': () => [
    'send them the whole image of the same release: the delta is for what others run',
    'or seal a release with a delta from what they run: seal --delta-from',
  ],
  'envelope-area-too-small': () => [
    'make the envelope smaller: leave the text out, fewer signatures or recipients, shorter certificate chain',
    'or a stepping-stone release that gives these units a larger envelope area',
  ],
  'mac-key-unknown': (groups) => [
    `seal with the key of their cohort too (${cohortsOf(groups)}): one MAC for each cohort goes into one payload`,
  ],
  'device-wrong': () => ['sealed for one unit only: seal without --serial for the others'],
  'class-wrong': (groups) => [
    `seal a release for the class ${classesOf(groups)}; this one names another class or revision`,
  ],
  'trial-in-progress': () => ['wait until the image on trial was kept or fell back, then send it again'],
  'fell-back-before': () => [
    'this very release fell back there too often: mend it, and seal it under a new number',
  ],
  'marks-lost': () => ['these units need service: they cannot tell what they run'],
  'clock-needed': () => ['seal without a date for units without a clock'],
  'signer-expired': () => ['have a signer whose certificate is still good sign, then seal again'],
};

function rangesOf(groups: readonly Group[], names: readonly FactName[]) {
  return groups.flatMap(({ ranges }) => names.flatMap((name) => ranges.get(name) ?? []));
}

function highestOf(groups: readonly Group[], names: readonly FactName[]): string {
  const [highest] = rangesOf(groups, names).toSorted((a, b) => (a.high < b.high ? 1 : -1));
  return highest ? highest.high.toString() : 'what they hold';
}

function lowestOf(groups: readonly Group[], names: readonly FactName[]): string | undefined {
  const [lowest] = rangesOf(groups, names).toSorted((a, b) => (a.low < b.low ? -1 : 1));
  return lowest?.low.toString();
}

function sizeText({ sizes }: Comparands): string {
  return sizes === undefined
    ? 'it is larger'
    : `the largest size that the manifest states is ${sizes.at(-1)! - 16}`;
}

function anchorsOf(groups: readonly Group[]): string {
  return list(groups.map(({ facts }) => facts.anchors ?? 'the roots of the workspace'));
}

function classesOf(groups: readonly Group[]): string {
  return list(
    groups.map(({ ofClass, facts }) =>
      facts.hardware_revision === undefined
        ? ofClass.name
        : `${ofClass.name}, revision ${facts.hardware_revision}`,
    ),
  );
}

function cohortsOf(groups: readonly Group[]): string {
  return list(groups.map(({ facts }) => facts.cohort ?? 'the class as a whole'));
}

function list(all: readonly string[]): string {
  const distinct = [...new Set(all)];
  const shown = distinct.slice(0, 5).join('; ');
  return distinct.length > 5 ? `${shown}; and ${distinct.length - 5} more` : shown;
}

import {
  appendEntry,
  type DeviceClass,
  listClasses,
  readClass,
  readLedger,
  type Workspace,
} from '../workspace/index.ts';
import type { Case, Entry, Step } from './case.ts';
import { CLOCKS, dueAt } from './clocks.ts';
import { IncidentError } from './error.ts';
import { instant } from './exposure.ts';
import { INCIDENT_KINDS, type IncidentKind, incidentKind } from './kinds.ts';
import type { Making } from './making.ts';
import { subjectOf } from './subject.ts';

const OPENED = 'incident-opened';
const STEP_DONE = 'incident-step-done';
const CLOSED = 'incident-closed';

/** What an incident is opened with. */
export interface NewIncident {
  readonly kind: string;
  readonly key?: string | undefined;
  readonly className?: string | undefined;
  /** The earliest doubt; default: when it was opened. */
  readonly since?: string | undefined;
  /** When the maker became aware: the clocks run from then. Default: now. */
  readonly aware?: string | undefined;
  readonly note?: string | undefined;
}

/** One step and how it stands. */
export interface StepStanding {
  readonly step: Step;
  readonly commands: readonly string[];
  /** What its command makes; undefined where it makes nothing under a key of the workspace. */
  readonly makes: Making | undefined;
  readonly state: 'done' | 'open' | 'cannot';
  /** What shows that it was done, or why it cannot be. */
  readonly because: string | undefined;
}

/** A notice and how it stands. */
export interface ClockStanding {
  readonly id: string;
  readonly title: string;
  /** RFC 3339; undefined where no hours are stated. */
  readonly due: string | undefined;
  readonly sent: string | undefined;
  readonly overdue: boolean;
}

/** An incident as it stands now. */
export interface Incident {
  readonly id: string;
  readonly kind: IncidentKind;
  readonly key: string | undefined;
  readonly classes: readonly string[];
  readonly opened: string;
  readonly aware: string;
  readonly since: string;
  readonly note: string | undefined;
  readonly closed: string | undefined;
  readonly steps: readonly StepStanding[];
  readonly clocks: readonly ClockStanding[];
}

/** Opens an incident: enters it in the ledger. Throws `IncidentError` where the key does not go with the kind. */
export async function openIncident(workspace: Workspace, asked: NewIncident): Promise<Incident> {
  const kind = kindOf(asked.kind);
  const classes = await classesOf(workspace, kind, asked);
  const id = String(readLedger(workspace).filter((entry) => entry.kind === OPENED).length + 1);
  const now = workspace.now().toISOString();
  const { key, since, aware, note } = asked;
  appendEntry(workspace, OPENED, {
    incident: id,
    incident_kind: kind.name,
    ...(key !== undefined && { about_key: key }),
    classes,
    since: since === undefined ? now : instant(since),
    aware: aware === undefined ? now : instant(aware),
    ...(note !== undefined && { note }),
  });
  return showIncident(workspace, id);
}

function kindOf(name: string): IncidentKind {
  const kind = incidentKind(name);
  if (kind) return kind;
  const names = INCIDENT_KINDS.map((each) => each.name).join(', ');
  throw new IncidentError(
    'step-unknown',
    `There is no kind of incident called ${name}.`,
    `The kinds are: ${names}`,
  );
}

async function classesOf(workspace: Workspace, kind: IncidentKind, asked: NewIncident): Promise<string[]> {
  if (kind.keys.length === 0) {
    const { className } = asked;
    if (className !== undefined) return [(await readClass(workspace, className)).name];
    throw new IncidentError('kind-needs-key', `${kind.name} is about a class.`, 'Name it with --class.');
  }
  if (asked.key === undefined)
    throw new IncidentError(
      'kind-needs-key',
      `${kind.name} is about ${kind.keys.map(withArticle).join(' or ')}.`,
      'Name it with --key.',
    );
  const subject = await subjectOf(workspace, asked.key);
  if (!kind.keys.includes(subject.kind)) {
    const fitting = INCIDENT_KINDS.filter(({ keys }) => keys.includes(subject.kind)).map(({ name }) => name);
    throw new IncidentError(
      'key-of-another-kind',
      `${asked.key} is ${withArticle(subject.kind)}, and ${kind.name} is about ${kind.keys.map(withArticle).join(' or ')}.`,
      fitting.length > 0
        ? `Open ${fitting.join(' or ')}.`
        : `See what it exposes: fieldseal exposure ${asked.key}`,
    );
  }
  return subject.classes.map(({ name }) => name);
}

/** All incidents, in the order in which they were opened. */
export async function listIncidents(workspace: Workspace): Promise<Incident[]> {
  const ids = readLedger(workspace).flatMap(({ kind, facts }) =>
    kind === OPENED ? [String(facts.incident)] : [],
  );
  return Promise.all(ids.map((id) => showIncident(workspace, id)));
}

/** One incident as the ledger, and what the workspace can see, have it. Throws `IncidentError` incident-unknown. */
export async function showIncident(workspace: Workspace, id: string): Promise<Incident> {
  const entries = readLedger(workspace);
  const opening = entries.find(({ kind, facts }) => kind === OPENED && facts.incident === id);
  if (!opening)
    throw new IncidentError(
      'incident-unknown',
      `There is no incident ${id}.`,
      'See: fieldseal incident show',
    );
  const { facts } = opening;
  const key = facts.about_key === undefined ? undefined : String(facts.about_key);
  const own = entries.filter((entry) => entry.facts.incident === id);
  const about: Case = {
    workspace,
    subject: key === undefined ? undefined : await subjectOf(workspace, key),
    classes: await openClasses(workspace, facts.classes as string[]),
    since: entries.filter(({ number }) => number > opening.number),
  };
  const kind = kindOf(String(facts.incident_kind));
  const aware = String(facts.aware);
  return {
    id,
    kind,
    key,
    classes: facts.classes as string[],
    opened: opening.time,
    aware,
    since: String(facts.since),
    note: facts.note === undefined ? undefined : String(facts.note),
    closed: own.find((entry) => entry.kind === CLOSED)?.time,
    steps: kind.steps.map((step) => standingOf(step, about, own)),
    clocks: CLOCKS.map((clock) => clockOf(clock, aware, own, workspace.now())),
  };
}

async function openClasses(workspace: Workspace, names: readonly string[]): Promise<DeviceClass[]> {
  const known = new Set(listClasses(workspace));
  return Promise.all(names.filter((name) => known.has(name)).map((name) => readClass(workspace, name)));
}

function standingOf(step: Step, about: Case, own: readonly Entry[]): StepStanding {
  const commands = step.commands(about);
  const makes = step.makes?.(about);
  const byHand = doneEntry(own, step.id);
  const evidence = byHand ? handText(byHand) : step.evidence?.(about);
  if (evidence !== undefined) return { step, commands, makes, state: 'done', because: evidence };
  const impossible = step.impossible?.(about);
  return impossible === undefined
    ? { step, commands, makes, state: 'open', because: undefined }
    : { step, commands: [], makes: undefined, state: 'cannot', because: impossible };
}

function doneEntry(own: readonly Entry[], step: string): Entry | undefined {
  return own.find(({ kind, facts }) => kind === STEP_DONE && facts.step === step);
}

function handText({ number, time, facts }: Entry): string {
  return `said on ${time.slice(0, 16)}Z (ledger entry ${number}): ${String(facts.note)}`;
}

function clockOf(
  clock: (typeof CLOCKS)[number],
  aware: string,
  own: readonly Entry[],
  now: Date,
): ClockStanding {
  const sent = doneEntry(own, clock.id)?.time;
  const due = dueAt(clock, aware);
  const { id, title } = clock;
  return {
    id,
    title,
    due,
    sent,
    overdue: sent === undefined && due !== undefined && now.toISOString() > due,
  };
}

/** Enters that a step, or a notice, was done by people. Throws `IncidentError` step-unknown, step-done. */
export async function markDone(
  workspace: Workspace,
  id: string,
  step: string,
  note: string,
): Promise<Incident> {
  const incident = await showIncident(workspace, id);
  requireOpen(incident);
  const known = [...incident.steps.map((each) => each.step.id), ...CLOCKS.map((clock) => clock.id)];
  if (!known.includes(step))
    throw new IncidentError(
      'step-unknown',
      `Incident ${id} has no step ${step}.`,
      `Its steps: ${known.join(', ')}`,
    );
  const standing = incident.steps.find((each) => each.step.id === step);
  const sent = incident.clocks.find((clock) => clock.id === step)?.sent;
  if (standing?.state === 'done' || sent !== undefined)
    throw new IncidentError(
      'step-done',
      `${step} is done already: ${standing?.because ?? sent}.`,
      'Nothing was changed.',
    );
  appendEntry(workspace, STEP_DONE, { incident: id, step, note });
  return showIncident(workspace, id);
}

/** Closes an incident. Throws `IncidentError` steps-open while something that can be done is not, unless a reason is given. */
export async function closeIncident(
  workspace: Workspace,
  id: string,
  reason: string | undefined,
): Promise<Incident> {
  const incident = await showIncident(workspace, id);
  requireOpen(incident);
  const open = incident.steps.filter(({ state }) => state === 'open').map(({ step }) => step.id);
  if (open.length > 0 && reason === undefined)
    throw new IncidentError(
      'steps-open',
      `Incident ${id} has open steps: ${open.join(', ')}.`,
      'Do them, or say why they are left out: --reason TEXT; it stands in the ledger.',
    );
  appendEntry(workspace, CLOSED, { incident: id, open, ...(reason !== undefined && { reason }) });
  return showIncident(workspace, id);
}

function requireOpen({ id, closed }: Incident): void {
  if (closed === undefined) return;
  throw new IncidentError('step-done', `Incident ${id} was closed on ${closed}.`, 'Open a new one.');
}

function withArticle(kind: string): string {
  return `${/^[aeiou]/.test(kind) ? 'an' : 'a'} ${kind}`;
}

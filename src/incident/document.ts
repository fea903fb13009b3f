import type { JsonObject, Workspace } from '../workspace/index.ts';
import { CLOCK_SOURCE } from './clocks.ts';
import type { Incident } from './incident.ts';

const MARK = { done: 'x', open: ' ', cannot: '-' } as const;

/** Writes the incident as people read it: incidents/ID.md in the workspace, made anew from the ledger each time. Its path there. */
export function writeIncidentFile(workspace: Workspace, incident: Incident): string {
  const path = `incidents/${incident.id}.md`;
  workspace.files.makeFolder(workspace.path('incidents'));
  workspace.files.replace(workspace.path(path), incidentText(incident));
  return path;
}

function incidentText(incident: Incident): string {
  const { id, kind, key, classes, opened, aware, since, note, closed } = incident;
  const facts = [
    `kind: ${kind.name}, ${kind.about}`,
    ...(key === undefined ? [] : [`key: ${key}`]),
    `classes: ${classes.join(', ') || 'none'}`,
    `earliest doubt: ${since}`,
    `aware since: ${aware}`,
    `opened: ${opened}`,
    `closed: ${closed ?? 'no'}`,
    ...(note === undefined ? [] : [`note: ${note}`]),
  ];
  const steps = incident.steps.flatMap(({ step, state, commands, because }, i) => [
    `${i + 1}. [${MARK[state]}] **${step.title}** (\`${step.id}\`)`,
    `   ${step.why}.`,
    ...commands.map((command) => `   \`${command}\``),
    ...(because === undefined ? [] : [`   ${state === 'cannot' ? 'cannot be done' : 'done'}: ${because}`]),
  ]);
  const clocks = incident.clocks.map(
    (clock) =>
      `- ${clock.title} (\`${clock.id}\`): ${clock.due ? `due ${clock.due}` : 'when due: ask'}, ${clock.sent ? `sent ${clock.sent}` : clock.overdue ? 'OVERDUE' : 'not sent'}`,
  );
  return [
    `# Incident ${id}: ${kind.name}`,
    '',
    'Written anew from the ledger by each `fieldseal incident` command; an edit here is lost.',
    '',
    ...facts.map((fact) => `- ${fact}`),
    '',
    `**${kind.plainly}**`,
    '',
    '## Steps, in this order',
    ...steps,
    '',
    '## Notices',
    ...clocks,
    '',
    `${CLOCK_SOURCE}.`,
    '',
    'For a product under a safety or approval standard, that standard and qualified practice decide what may be installed when.',
    '',
  ].join('\n');
}

/** An incident for programs (format fieldseal.incident/1). */
export function incidentJson(incident: Incident): JsonObject {
  const { id, kind, key, classes, opened, aware, since, note, closed } = incident;
  return {
    format: 'fieldseal.incident/1',
    incident: id,
    kind: kind.name,
    plainly: kind.plainly,
    key: key ?? null,
    classes,
    opened,
    aware,
    since,
    note: note ?? null,
    closed: closed ?? null,
    steps: incident.steps.map(({ step, state, commands, because }) => ({
      id: step.id,
      title: step.title,
      why: step.why,
      commands,
      state,
      because: because ?? null,
    })),
    clocks: incident.clocks.map(({ id: name, title, due, sent, overdue }) => ({
      id: name,
      title,
      due: due ?? null,
      sent: sent ?? null,
      overdue,
    })),
    clock_source: CLOCK_SOURCE,
  };
}

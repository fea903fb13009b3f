import { CLOCK_SOURCE, type Incident, incidentJson, writeIncidentFile } from '../incident/index.ts';
import type { Workspace } from '../workspace/index.ts';
import { EXIT } from './exit.ts';
import type { Output } from './output.ts';
import type { Call } from './spec.ts';

/** Tells an incident, and writes its file anew. */
export function tellIncident(call: Call, workspace: Workspace, incident: Incident): number {
  const file = writeIncidentFile(workspace, incident);
  show(call, incident);
  call.out.fact('file', file);
  call.out.result({ ...incidentJson(incident), file });
  return EXIT.done;
}

const INDENT = ' '.repeat(28);
const MARK = { done: 'done  ', open: 'open  ', cannot: 'cannot' } as const;

function show({ out }: Call, incident: Incident): void {
  const { id, kind, key, classes, closed } = incident;
  const about = key === undefined ? '' : `, ${key}`;
  out.line(`incident ${id}: ${kind.name}${about}${closed ? `, closed ${closed}` : ''}`);
  out.fact('classes', classes.join(', ') || 'none');
  out.line(out.paint.bold(kind.plainly));
  for (const [i, standing] of incident.steps.entries()) showStep(out, i + 1, standing);
  const next = incident.steps.find(({ state }) => state === 'open');
  if (next && !closed) out.line(`next: ${next.step.title} (${next.step.id})`);
  for (const clock of incident.clocks) showClock(out, incident, clock);
  out.line(out.paint.dim(CLOCK_SOURCE));
}

function showStep(
  out: Output,
  number: number,
  { step, state, commands, because }: Incident['steps'][number],
): void {
  out.line(`  ${String(number).padStart(2)}  ${MARK[state]}  ${step.id.padEnd(13)} ${step.title}`);
  if (because !== undefined) out.line(`${INDENT}${out.paint.dim(because)}`);
  if (state !== 'open') return;
  out.line(`${INDENT}${out.paint.dim(step.why)}`);
  for (const command of commands) out.line(`${INDENT}${command}`);
}

function showClock(out: Output, { id, closed }: Incident, clock: Incident['clocks'][number]): void {
  const { title, due, sent, overdue } = clock;
  const when = due === undefined ? 'when due: ask' : `due ${due.slice(0, 16)}Z${overdue ? ', OVERDUE' : ''}`;
  out.fact(title, sent ? `sent ${sent.slice(0, 16)}Z` : when);
  if (overdue && !closed)
    out.caution(
      `${title} is overdue; once it is sent: fieldseal incident done ${id} ${clock.id} --note TEXT`,
    );
}

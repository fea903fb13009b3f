import { incidentJson, listIncidents, showIncident } from '../../incident/index.ts';
import { EXIT } from '../exit.ts';
import { openSession, trialMark } from '../session.ts';
import { tellIncident } from '../show-incident.ts';
import type { Call } from '../spec.ts';

/** Shows one incident, or all in a line each. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const [id] = call.args;
  if (id !== undefined) return tellIncident(call, workspace, await showIncident(workspace, id));
  const incidents = await listIncidents(workspace);
  call.out.line(
    `${incidents.length} ${incidents.length === 1 ? 'incident' : 'incidents'}${trialMark(workspace)}`,
  );
  for (const { id: number, kind, key, classes, steps, clocks, closed } of incidents) {
    const open = steps.filter(({ state }) => state === 'open').length;
    const overdue = clocks.filter((clock) => clock.overdue).map(({ title }) => `${title} OVERDUE`);
    const standing = closed ? 'closed' : [`${open} steps open`, ...overdue].join(', ');
    call.out.fact(number, `${kind.name}  ${key ?? classes.join(', ')}  ${standing}`);
  }
  call.out.result({ format: 'fieldseal.incidents/1', incidents: incidents.map(incidentJson) });
  return EXIT.done;
}

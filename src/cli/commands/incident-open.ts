import { openIncident } from '../../incident/index.ts';
import { openSession } from '../session.ts';
import { tellIncident } from '../show-incident.ts';
import type { Call } from '../spec.ts';

/** Opens an incident. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const incident = await openIncident(workspace, {
    kind: call.args[0]!,
    key: call.text('key'),
    className: call.text('class'),
    since: call.text('since'),
    aware: call.text('aware'),
    note: call.text('note'),
  });
  return tellIncident(call, workspace, incident);
}

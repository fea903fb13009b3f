import { closeIncident } from '../../incident/index.ts';
import { openSession } from '../session.ts';
import { tellIncident } from '../show-incident.ts';
import type { Call } from '../spec.ts';

/** Closes an incident. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  return tellIncident(call, workspace, await closeIncident(workspace, call.args[0]!, call.text('reason')));
}

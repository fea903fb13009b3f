import { markDone } from '../../incident/index.ts';
import { openSession } from '../session.ts';
import { tellIncident } from '../show-incident.ts';
import type { Call } from '../spec.ts';

/** Enters that a step was done. */
export async function run(call: Call): Promise<number> {
  const { workspace } = await openSession(call);
  const [id, step] = call.args as [string, string];
  return tellIncident(call, workspace, await markDone(workspace, id, step, call.text('note')!));
}

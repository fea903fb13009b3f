import { type Incident, incidentJson } from '../../incident/index.ts';
import type { JsonObject, Workspace } from '../../workspace/index.ts';
import { allows, RIGHTS, type Right, ROLE_NAMES, type Role } from '../access/roles.ts';
import type { DeskAct } from './act.ts';
import { actFor } from './at-desk.ts';
import { pagesFor } from './pages.ts';

/** An incident, and what of each step the desk does, helps with, or leaves to the command line. */
export async function withDesk(workspace: Workspace, incident: Incident, role: Role) {
  const shown = incidentJson(incident);
  const steps = await Promise.all(
    incident.steps.map(async (standing, i) => {
      const act = await actFor(workspace, incident, standing);
      const pages = pagesFor(workspace, incident, standing);
      return { ...(shown.steps as JsonObject[])[i], desk: { ...actJson(act, role), pages } };
    }),
  );
  return { ...shown, steps };
}

function actJson(act: DeskAct | string | undefined, role: Role) {
  if (typeof act !== 'object') return { act: null, left_out: act ?? null };
  if (!allows(role, act.right)) return { act: null, left_out: notForRole(role, act.right) };
  const { says, consequences, confirm, opens, choices, root = null, makes = null } = act;
  return { act: { says, consequences, confirm, opens, choices, root, makes }, left_out: null };
}

function notForRole(role: Role, right: Right): string {
  const may = ROLE_NAMES.filter((each) => allows(each, right)).join(' or ');
  return `The role ${role} may not do it; ${may} may (${RIGHTS[right]}).`;
}

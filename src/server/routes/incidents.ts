import { createRoute, z } from '@hono/zod-openapi';
import {
  closeIncident,
  INCIDENT_KINDS,
  type Incident,
  listIncidents,
  markDone,
  openIncident,
  showIncident,
  writeIncidentFile,
} from '../../incident/index.ts';
import type { Workspace } from '../../workspace/index.ts';
import { requireAllowed, requireRight } from '../access/guard.ts';
import type { Role } from '../access/roles.ts';
import { whoOf } from '../access/sessions.ts';
import type { DeskAct } from '../acts/act.ts';
import { actFor } from '../acts/at-desk.ts';
import { AtField, atField } from '../acts/at-field.ts';
import { readList } from '../acts/revoke.ts';
import { withDesk } from '../acts/shown.ts';
import type { Desk } from '../context.ts';
import { DeskError } from '../error.ts';
import { Typed } from '../held/typed.ts';
import { answers, jsonBody, newRoutes } from './answers.ts';
import {
  actStepRequestSchema,
  documentSchema,
  fileIdSchema,
  incidentRequestSchema,
  keyNameSchema,
  nameParamSchema,
  stepParamSchema,
  stepRequestSchema,
} from './schemas.ts';

const TAGS = ['incidents'];
const responses = answers(documentSchema, 'the document');
const operate = requireRight('operate');

const listRoute = createRoute({
  method: 'get',
  path: '/incidents',
  tags: TAGS,
  summary: 'Incidents, and the kinds there are (fieldseal incident show)',
  middleware: requireRight('read'),
  responses,
});
const openRoute = createRoute({
  method: 'post',
  path: '/incidents',
  tags: TAGS,
  summary: 'Open an incident (fieldseal incident open)',
  middleware: operate,
  request: jsonBody(incidentRequestSchema),
  responses,
});
const showRoute = createRoute({
  method: 'get',
  path: '/incidents/{name}',
  tags: TAGS,
  summary: 'One incident: its steps in order, and its clocks',
  middleware: requireRight('read'),
  request: { params: nameParamSchema },
  responses,
});
const doneRoute = createRoute({
  method: 'post',
  path: '/incidents/{name}/steps/{step}',
  tags: TAGS,
  summary: 'Enter that a step was done (fieldseal incident done)',
  middleware: operate,
  request: { params: stepParamSchema, ...jsonBody(stepRequestSchema) },
  responses,
});
const actRoute = createRoute({
  method: 'post',
  path: '/incidents/{name}/steps/{step}/acts',
  tags: TAGS,
  summary:
    'Do a step that the desk can do: a key retired or made, a trust update, a revocation list; goes on as a job',
  middleware: operate,
  request: { params: stepParamSchema, ...jsonBody(actStepRequestSchema) },
  responses: answers(z.object({ job: fileIdSchema }), 'the job'),
});
const revocationRoute = createRoute({
  method: 'get',
  path: '/revocation-lists/{root}/{number}',
  tags: TAGS,
  summary: 'A revocation list that was made at the desk (PEM, RFC 5280 section 5)',
  middleware: requireRight('read'),
  request: { params: z.object({ root: keyNameSchema, number: z.coerce.number().int().positive() }) },
  responses: {
    200: { content: { 'application/x-pem-file': { schema: z.string() } }, description: 'the list' },
  },
});
const closeRoute = createRoute({
  method: 'post',
  path: '/incidents/{name}/close',
  tags: TAGS,
  summary: 'Close an incident (fieldseal incident close)',
  middleware: operate,
  request: { params: nameParamSchema, ...jsonBody(stepRequestSchema) },
  responses,
});

/** What happened, and the ordered response to it. */
export function incidentRoutes() {
  return newRoutes()
    .openapi(listRoute, async (c) => {
      const workspace = await c.env.desk.workspace();
      const incidents = await listIncidents(workspace);
      const kinds = INCIDENT_KINDS.map(({ name, about, keys }) => ({ name, about, keys: [...keys] }));
      const shown = await Promise.all(
        incidents.map((each) => withDesk(workspace, each, c.get('session').role)),
      );
      return c.json({ format: 'fieldseal.incidents/1', kinds, incidents: shown }, 200);
    })
    .openapi(openRoute, async (c) => {
      const { class: className, key, since, note, kind } = c.req.valid('json');
      const workspace = await c.env.desk.workspace();
      const asked = { kind, key, className, since, aware: undefined, note };
      const incident = await openIncident(workspace, asked);
      return c.json(await told(workspace, incident, c.get('session').role), 200);
    })
    .openapi(showRoute, async (c) => {
      const workspace = await c.env.desk.workspace();
      const incident = await showIncident(workspace, c.req.valid('param').name);
      return c.json(documentSchema.parse(await withDesk(workspace, incident, c.get('session').role)), 200);
    })
    .openapi(doneRoute, async (c) => {
      const { name, step } = c.req.valid('param');
      const workspace = await c.env.desk.workspace();
      const done = await markDone(workspace, name, step, c.req.valid('json').note);
      return c.json(await told(workspace, done, c.get('session').role), 200);
    })
    .openapi(actRoute, async (c) => {
      const { desk } = c.env;
      const session = c.get('session');
      const { name, step } = c.req.valid('param');
      const { confirm, signer, root, make, ...given } = c.req.valid('json');
      const workspace = await desk.workspace();
      const act = await requireAct(workspace, await showIncident(workspace, name), step);
      requireAllowed(session, act.right);
      requireWhole(act, confirm, make !== undefined);
      const guess = act.root && takeGuess(desk, act.root.name);
      const typed = new Typed(root, make);
      const secrets = desk.unlocked.secretsFor(session, given);
      const job = desk.jobs.start(session, async (tell) => {
        try {
          await act.perform({ workspace, secrets, typed, signer, who: whoOf(session), tell });
          guess?.right();
        } catch (error) {
          const told = atField(error, act, typed);
          if (!(told instanceof AtField && told.field.startsWith('root.'))) guess?.right();
          throw told;
        }
        return told(workspace, await showIncident(workspace, name), session.role);
      });
      return c.json({ job }, 200);
    })
    .openapi(revocationRoute, async (c) => {
      const { root, number } = c.req.valid('param');
      const { name, pem } = readList(await c.env.desk.workspace(), root, number);
      return c.body(pem, 200, {
        'content-type': 'application/x-pem-file',
        'content-disposition': `attachment; filename="${name}"`,
      });
    })
    .openapi(closeRoute, async (c) => {
      const workspace = await c.env.desk.workspace();
      const closed = await closeIncident(workspace, c.req.valid('param').name, c.req.valid('json').note);
      return c.json(await told(workspace, closed, c.get('session').role), 200);
    });
}

/** Guessing what opens a root is slowed down, whoever guesses; what was right costs nothing. Throws `DeskError` too-often. */
function takeGuess({ attempts }: Desk, root: string): { right(): void } {
  const caller = `root ${root}`;
  const wait = attempts.take(caller);
  if (wait === 0) return { right: () => attempts.give(caller) };
  throw new DeskError('too-often', `too many attempts to open ${root}`, `wait ${wait} seconds`);
}

/** What the desk does for a step of an incident. Throws `DeskError` request-wrong. */
async function requireAct(workspace: Workspace, incident: Incident, step: string): Promise<DeskAct> {
  const standing = incident.steps.find((each) => each.step.id === step);
  const act = incident.closed === undefined && standing && (await actFor(workspace, incident, standing));
  if (typeof act === 'object') return act;
  throw new DeskError(
    'request-wrong',
    `the desk does not do the step ${step} of incident ${incident.id}, or it is done`,
    act || 'see GET /incidents: a step that the desk does has an act',
  );
}

/** What follows was read, and all that the act needs was given. Throws `DeskError` request-wrong. */
function requireWhole({ confirm, consequences, makes }: DeskAct, confirmed: string, made: boolean): void {
  if (confirmed !== confirm) {
    throw new DeskError(
      'request-wrong',
      `nothing was done: it was not confirmed with ${confirm}`,
      consequences.join(' '),
    );
  }
  if (makes && !made) {
    throw new DeskError(
      'request-wrong',
      `nothing was done: ${makes.named} has no name and no place`,
      'give make: its name, and where its key is to live',
    );
  }
}

/** The readable file in the workspace is made anew, as the command line does. */
async function told(workspace: Workspace, incident: Incident, role: Role) {
  writeIncidentFile(workspace, incident);
  return documentSchema.parse(await withDesk(workspace, incident, role));
}

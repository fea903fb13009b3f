import { createRoute, z } from '@hono/zod-openapi';
import {
  closeIncident,
  INCIDENT_KINDS,
  type Incident,
  incidentJson,
  listIncidents,
  markDone,
  openIncident,
  showIncident,
  writeIncidentFile,
} from '../../incident/index.ts';
import type { JsonObject, Workspace } from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import { DeskError } from '../error.ts';
import { actFor, LEFT_OUT, pagesFor } from '../incident-acts.ts';
import { answers, jsonBody, newRoutes } from './answers.ts';
import {
  actStepRequestSchema,
  documentSchema,
  fileIdSchema,
  incidentRequestSchema,
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
  summary: 'Do a step that the desk can do: retire the key, make the trust update; goes on as a job',
  middleware: operate,
  request: { params: stepParamSchema, ...jsonBody(actStepRequestSchema) },
  responses: answers(z.object({ job: fileIdSchema }), 'the job'),
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
      const shown = await Promise.all(incidents.map((each) => withDesk(workspace, each)));
      return c.json({ format: 'fieldseal.incidents/1', kinds, incidents: shown }, 200);
    })
    .openapi(openRoute, async (c) => {
      const { class: className, key, since, note, kind } = c.req.valid('json');
      const workspace = await c.env.desk.workspace();
      const asked = { kind, key, className, since, aware: undefined, note };
      return c.json(await told(workspace, await openIncident(workspace, asked)), 200);
    })
    .openapi(showRoute, async (c) => {
      const workspace = await c.env.desk.workspace();
      const incident = await showIncident(workspace, c.req.valid('param').name);
      return c.json(documentSchema.parse(await withDesk(workspace, incident)), 200);
    })
    .openapi(doneRoute, async (c) => {
      const { name, step } = c.req.valid('param');
      const workspace = await c.env.desk.workspace();
      const done = await markDone(workspace, name, step, c.req.valid('json').note);
      return c.json(await told(workspace, done), 200);
    })
    .openapi(actRoute, async (c) => {
      const { desk } = c.env;
      const session = c.get('session');
      const { name, step } = c.req.valid('param');
      const { confirm, ...given } = c.req.valid('json');
      const workspace = await desk.workspace();
      const incident = await showIncident(workspace, name);
      const standing = incident.steps.find((each) => each.step.id === step);
      const act = incident.closed === undefined && standing && (await actFor(workspace, incident, standing));
      if (!act) {
        throw new DeskError(
          'request-wrong',
          `the desk does not do the step ${step} of incident ${name}, or it is done`,
          'see GET /incidents: a step that the desk does has an act',
        );
      }
      if (confirm !== act.confirm) {
        throw new DeskError(
          'request-wrong',
          `nothing was done: it was not confirmed with ${act.confirm}`,
          act.consequences.join(' '),
        );
      }
      const secrets = desk.unlocked.secretsFor(session, given);
      const job = desk.jobs.start(session, async (tell) => {
        await act.perform({ workspace, secrets, tell });
        return told(workspace, await showIncident(workspace, name));
      });
      return c.json({ job }, 200);
    })
    .openapi(closeRoute, async (c) => {
      const workspace = await c.env.desk.workspace();
      const closed = await closeIncident(workspace, c.req.valid('param').name, c.req.valid('json').note);
      return c.json(await told(workspace, closed), 200);
    });
}

/** The readable file in the workspace is made anew, as the command line does. */
async function told(workspace: Workspace, incident: Incident) {
  writeIncidentFile(workspace, incident);
  return documentSchema.parse(await withDesk(workspace, incident));
}

/** An incident, and what of each step the desk does, helps with, or leaves to the command line. */
async function withDesk(workspace: Workspace, incident: Incident) {
  const shown = incidentJson(incident);
  const steps = await Promise.all(
    incident.steps.map(async (standing, i) => {
      const { id } = standing.step;
      const act = await actFor(workspace, incident, standing);
      const left = act || standing.state !== 'open' ? undefined : LEFT_OUT[id];
      const desk = {
        act: act
          ? { says: act.says, consequences: act.consequences, confirm: act.confirm, opens: act.opens }
          : null,
        pages: pagesFor(workspace, incident, id),
        left_out: left ?? null,
      };
      return { ...(shown.steps as JsonObject[])[i], desk };
    }),
  );
  return { ...shown, steps };
}

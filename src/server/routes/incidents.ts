import { createRoute } from '@hono/zod-openapi';
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
import type { Workspace } from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import { answers, jsonBody, newRoutes } from './answers.ts';
import {
  documentSchema,
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
      const incidents = await listIncidents(await c.env.desk.workspace());
      const kinds = INCIDENT_KINDS.map(({ name, about, keys }) => ({ name, about, keys: [...keys] }));
      return c.json({ format: 'fieldseal.incidents/1', kinds, incidents: incidents.map(incidentJson) }, 200);
    })
    .openapi(openRoute, async (c) => {
      const { class: className, key, since, note, kind } = c.req.valid('json');
      const workspace = await c.env.desk.workspace();
      const asked = { kind, key, className, since, aware: undefined, note };
      return c.json(told(workspace, await openIncident(workspace, asked)), 200);
    })
    .openapi(showRoute, async (c) => {
      const workspace = await c.env.desk.workspace();
      const incident = await showIncident(workspace, c.req.valid('param').name);
      return c.json(documentSchema.parse(incidentJson(incident)), 200);
    })
    .openapi(doneRoute, async (c) => {
      const { name, step } = c.req.valid('param');
      const workspace = await c.env.desk.workspace();
      return c.json(told(workspace, await markDone(workspace, name, step, c.req.valid('json').note)), 200);
    })
    .openapi(closeRoute, async (c) => {
      const workspace = await c.env.desk.workspace();
      const closed = await closeIncident(workspace, c.req.valid('param').name, c.req.valid('json').note);
      return c.json(told(workspace, closed), 200);
    });
}

/** The readable file in the workspace is made anew, as the command line does. */
function told(workspace: Workspace, incident: Incident) {
  writeIncidentFile(workspace, incident);
  return documentSchema.parse(incidentJson(incident));
}

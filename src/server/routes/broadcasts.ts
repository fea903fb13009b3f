import { setTimeout as pause } from 'node:timers/promises';
import { createRoute, z } from '@hono/zod-openapi';
import { streamSSE } from 'hono/streaming';
import { type ClassNames, classNames, fleetEventJson } from '../../answers/index.ts';
import {
  type Broadcast,
  broadcastJson,
  type FleetStore,
  halt,
  liesIn,
  pause as pauseBroadcast,
  resume,
} from '../../fleet/index.ts';
import { STEPS } from '../../unit/index.ts';
import { readClass } from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import { whileHere } from '../access/presence.ts';
import type { Desk } from '../context.ts';
import { DeskError } from '../error.ts';
import { answers, jsonBody, newRoutes } from './answers.ts';
import { broadcastParamSchema, documentSchema, orderRequestSchema } from './fleet-schemas.ts';

const TAGS = ['broadcasts'];
const responses = answers(documentSchema, 'the document');
const request = { params: broadcastParamSchema };
const middleware = requireRight('read');
/** Between two looks, in milliseconds; and after how many without news a line is sent all the same. */
const LOOK_MS = 1000;
const STILL_LOOKS = 15;
const MOST_EVENTS = 100;
/** How often to stop is tried while others change the broadcast. */
const ATTEMPTS = 5;

const listRoute = createRoute({
  method: 'get',
  path: '/broadcasts',
  tags: TAGS,
  summary: 'Broadcasts, newest first',
  middleware,
  responses,
});
const viewRoute = createRoute({
  method: 'get',
  path: '/broadcasts/{id}',
  tags: TAGS,
  summary: 'A broadcast: its waves, their units by state, what stops it, what comes next and when',
  middleware,
  request,
  responses,
});
const liveRoute = createRoute({
  method: 'get',
  path: '/broadcasts/{id}/live',
  tags: TAGS,
  summary: 'The same each time that it has changed, as server-sent events',
  middleware,
  request,
  responses: { 200: { content: { 'text/event-stream': { schema: z.string() } }, description: 'events' } },
});
const eventsRoute = createRoute({
  method: 'get',
  path: '/broadcasts/{id}/events',
  tags: TAGS,
  summary: 'Its journal, newest first, without what is told of single units',
  middleware,
  request: {
    params: broadcastParamSchema,
    query: z.object({ after: z.coerce.number().int().positive().optional() }),
  },
  responses,
});
const orderRoute = createRoute({
  method: 'post',
  path: '/broadcasts/{id}/orders',
  tags: TAGS,
  summary: 'Pause it, resume it, or halt it for good (fieldseal broadcast pause, resume, halt)',
  middleware: requireRight('operate'),
  request: { params: broadcastParamSchema, ...jsonBody(orderRequestSchema) },
  responses,
});

const ORDERS = { pause: pauseBroadcast, resume, halt };

/** Broadcasts: how they go, live, and the orders that a person may give. */
export function broadcastRoutes() {
  return newRoutes()
    .openapi(listRoute, async (c) => {
      const names = await classNames(await c.env.desk.workspace());
      const found = await (await c.env.desk.fleet.store()).broadcasts();
      const broadcasts = found.map((each) => listed(each, names));
      return c.json({ format: 'fieldseal.desk-broadcasts/1', broadcasts }, 200);
    })
    .openapi(viewRoute, async (c) => {
      const shown = await viewOf(c.env.desk, c.req.valid('param').id);
      return c.json(documentSchema.parse(shown), 200);
    })
    .openapi(liveRoute, async (c) => {
      const { desk } = c.env;
      const session = c.get('session');
      const store = await desk.fleet.store();
      const { id } = c.req.valid('param');
      await requireBroadcast(store, id);
      return streamSSE(c, (stream) =>
        whileHere(desk, session, c.req.raw.signal, async (signal) => {
          let last = '';
          for (let still = 0; !signal.aborted; still++) {
            const told = JSON.stringify(await viewOf(desk, id));
            if (told !== last) await stream.writeSSE({ event: 'standing', data: told });
            else if (still % STILL_LOOKS === 0) await stream.writeSSE({ event: 'still', data: '' });
            last = told;
            await pause(LOOK_MS, undefined, { signal }).catch(() => {});
          }
        }),
      );
    })
    .openapi(eventsRoute, async (c) => {
      const { id } = c.req.valid('param');
      const { after } = c.req.valid('query');
      const store = await c.env.desk.fleet.store();
      const events = await store.events({
        broadcast: id,
        withoutUnits: true,
        newestFirst: true,
        limit: MOST_EVENTS,
        after,
      });
      const next = events.length === MOST_EVENTS ? events.at(-1)!.seq : null;
      return c.json(
        { format: 'fieldseal.desk-fleet-events/1', events: events.map(fleetEventJson), next },
        200,
      );
    })
    .openapi(orderRoute, async (c) => {
      const { id } = c.req.valid('param');
      const { order, why, revision } = c.req.valid('json');
      const workspace = await c.env.desk.workspace();
      const store = await c.env.desk.fleet.store();
      const { who } = c.get('session');
      const seen = order === 'resume' ? revision : undefined;
      await inTurn(
        async () => {
          const now = await requireBroadcast(store, id);
          const broadcast = { ...now, revision: seen ?? now.revision };
          await ORDERS[order]({ store, broadcast, who, why, now: workspace.now() });
        },
        seen === undefined ? ATTEMPTS : 1,
      );
      return c.json(documentSchema.parse(await viewOf(c.env.desk, id)), 200);
    });
}

/**
 * To stop goes before what the steering does meanwhile, as at the command line; who goes on must have seen what they overrule.
 */
async function inTurn(work: () => Promise<void>, attempts: number): Promise<void> {
  for (let attempt = 1; ; attempt++) {
    try {
      return await work();
    } catch (error) {
      const passed = error instanceof Error && 'code' in error && error.code === 'fleet-revision-passed';
      if (!passed || attempt === attempts) throw error;
    }
  }
}

async function requireBroadcast(store: FleetStore, id: number): Promise<Broadcast> {
  const broadcast = await store.broadcast(id);
  if (broadcast) return broadcast;
  throw new DeskError('not-there', `there is no broadcast ${id}`, 'see GET /broadcasts');
}

/** The document of "fieldseal broadcast status", and what the screen needs beside it. */
async function viewOf(desk: Desk, id: number) {
  const [store, workspace] = [await desk.fleet.store(), await desk.workspace()];
  const broadcast = await requireBroadcast(store, id);
  const { classId, revision } = broadcast;
  const name = (await classNames(workspace)).get(classId);
  if (name === undefined) {
    throw new DeskError(
      'not-there',
      `broadcast ${id} is for a class that this workspace does not have: ${classId}`,
      'open the workspace that it was begun in',
    );
  }
  const shown = await broadcastJson(store, await readClass(workspace, name), broadcast, workspace.now());
  const { units } = await store.counts({ classId });
  const { depot } = desk;
  const steps = STEPS.map((step) => step.name);
  // Another depot may be the one that it was begun with.
  return { ...shown, revision, units, steps, depot: depot && liesIn(depot, broadcast) ? depot.folder : null };
}

function listed({ id, classId, release, state }: Broadcast, names: ClassNames) {
  return { broadcast: id, class: names.get(classId) ?? classId, version: release.version, state };
}

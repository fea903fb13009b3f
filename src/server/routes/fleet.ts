import { createRoute, z } from '@hono/zod-openapi';
import {
  classNames,
  FLEET_CSV_HEAD,
  fleetCountsJson,
  fleetCsvLine,
  fleetUnitJson,
  historyJson,
} from '../../answers/index.ts';
import { fromUtf8, toHex } from '../../bytes/index.ts';
import type { FleetStore, UnitName, UnitQuery } from '../../fleet/index.ts';
import { readClass, type Workspace } from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import type { Desk } from '../context.ts';
import { DeskError } from '../error.ts';
import { answers, newRoutes } from './answers.ts';
import {
  documentSchema,
  type FleetQuery,
  fleetPageSchema,
  fleetQuerySchema,
  fleetUnitParamSchema,
} from './fleet-schemas.ts';

const TAGS = ['fleet'];
const middleware = requireRight('read');
const responses = answers(documentSchema, 'the document');
const DAY_MS = 86_400_000;
const CSV_PAGE = 1000;

const countsRoute = createRoute({
  method: 'get',
  path: '/fleet',
  tags: TAGS,
  summary: 'How many units stand where',
  middleware,
  request: { query: z.object({ class: fleetQuerySchema.shape.class }) },
  responses,
});
const searchRoute = createRoute({
  method: 'get',
  path: '/fleet/units',
  tags: TAGS,
  summary: 'Units that are looked for, page by page',
  middleware,
  request: { query: fleetQuerySchema.extend(fleetPageSchema.shape) },
  responses,
});
const csvRoute = createRoute({
  method: 'get',
  path: '/fleet/units.csv',
  tags: TAGS,
  summary: 'All units that are looked for, as CSV (RFC 4180)',
  middleware,
  request: { query: fleetQuerySchema },
  responses: { 200: { content: { 'text/csv': { schema: z.string() } }, description: 'the units' } },
});
const unitRoute = createRoute({
  method: 'get',
  path: '/fleet/units/{class}/{device}',
  tags: TAGS,
  summary: 'One unit, and what is known of its life, newest first',
  middleware,
  request: { params: fleetUnitParamSchema, query: fleetPageSchema },
  responses,
});

/** The units in the field: how many stand where, which ones, and the life of each. Reads only. */
export function fleetRoutes() {
  return newRoutes()
    .openapi(countsRoute, async (c) => {
      const { desk } = c.env;
      const workspace = await desk.workspace();
      const classId = await classIdOf(workspace, c.req.valid('query').class);
      const counts = await (await desk.fleet.store()).counts({ classId });
      const told = fleetCountsJson(counts, await classNames(workspace));
      return c.json(documentSchema.parse({ format: 'fieldseal.desk-fleet/1', ...told }), 200);
    })
    .openapi(searchRoute, async (c) => {
      const { desk } = c.env;
      const workspace = await desk.workspace();
      const { after, limit, ...asked } = c.req.valid('query');
      const query = await queryOf(workspace, asked);
      const { items, next } = await (await desk.fleet.store()).search({ ...query, after, limit });
      const names = await classNames(workspace);
      const units = items.map((unit) => fleetUnitJson(unit, names));
      return c.json(
        documentSchema.parse({ format: 'fieldseal.desk-fleet-units/1', units, next: next ?? null }),
        200,
      );
    })
    .openapi(csvRoute, async (c) => {
      const { desk } = c.env;
      const lines = await csvOf(desk, c.req.valid('query'));
      return c.body(ReadableStream.from(lines), 200, {
        'content-type': 'text/csv; charset=utf-8; header=present',
        'content-disposition': 'attachment; filename="units.csv"',
      });
    })
    .openapi(unitRoute, async (c) => {
      const { desk } = c.env;
      const workspace = await desk.workspace();
      const { class: className, device } = c.req.valid('param');
      const name = { classId: (await classIdOf(workspace, className))!, device };
      const told = await lifeOf(await desk.fleet.store(), workspace, name, c.req.valid('query'));
      return c.json(documentSchema.parse(told), 200);
    });
}

async function lifeOf(
  store: FleetStore,
  workspace: Workspace,
  name: UnitName,
  page: z.output<typeof fleetPageSchema>,
) {
  const unit = await store.unit(name);
  if (!unit) {
    throw new DeskError(
      'not-there',
      `no unit ${name.device} of that class is in the fleet`,
      'look for it among the units',
    );
  }
  const { items, next } = await store.history(name, {
    limit: page.limit,
    ...(page.after !== undefined && { after: page.after }),
  });
  return {
    format: 'fieldseal.desk-fleet-unit/1',
    unit: fleetUnitJson(unit, await classNames(workspace)),
    history: items.map(historyJson),
    next: next ?? null,
  };
}

/** A class by its name here, or by its identifier: the fleet may hold units of classes that the workspace does not have. */
async function classIdOf(workspace: Workspace, named: string | undefined): Promise<string | undefined> {
  if (named === undefined || /^[0-9a-f]{32}$/.test(named)) return named;
  return toHex((await readClass(workspace, named)).classId);
}

async function queryOf(
  workspace: Workspace,
  { class: className, broadcast, wave, silent_days, ...rest }: FleetQuery,
): Promise<UnitQuery> {
  return {
    ...rest,
    classId: await classIdOf(workspace, className),
    ...(broadcast !== undefined && { wave: { broadcast, number: wave } }),
    ...(silent_days !== undefined && {
      silentSince: new Date(workspace.now().getTime() - silent_days * DAY_MS),
    }),
  };
}

/** All pages of a search, one after the other: memory does not grow with their number. */
async function csvOf(desk: Desk, asked: FleetQuery): Promise<AsyncGenerator<Uint8Array>> {
  const workspace = await desk.workspace();
  const [query, names] = [await queryOf(workspace, asked), await classNames(workspace)];
  const store = await desk.fleet.store();
  return (async function* () {
    yield fromUtf8(FLEET_CSV_HEAD);
    for (let after: string | undefined, more = true; more; more = after !== undefined) {
      const page = await store.search({ ...query, limit: CSV_PAGE, after });
      yield fromUtf8(page.items.map((unit) => fleetCsvLine(unit, names)).join(''));
      after = page.next;
    }
  })();
}

import { createRoute, z } from '@hono/zod-openapi';
import { keyStandings, keysJson, releasesJson, standingJson, trustJson } from '../../answers/index.ts';
import { classJson, listClasses, readClass, readLedger } from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import { answers, newRoutes } from './answers.ts';
import { classNameSchema, documentSchema } from './schemas.ts';

const TAGS = ['workspace'];
const middleware = requireRight('read');
const responses = answers(documentSchema, 'the document');

const standingRoute = createRoute({
  method: 'get',
  path: '/standing',
  tags: TAGS,
  summary: 'Where the workspace stands, and the next sensible step',
  middleware,
  responses,
});
const classesRoute = createRoute({
  method: 'get',
  path: '/classes',
  tags: TAGS,
  summary: 'The device classes (fieldseal class list)',
  middleware,
  responses,
});
const classRoute = createRoute({
  method: 'get',
  path: '/classes/{name}',
  tags: TAGS,
  summary: 'One device class (fieldseal class show)',
  middleware,
  request: { params: z.object({ name: classNameSchema }) },
  responses,
});
const keysRoute = createRoute({
  method: 'get',
  path: '/keys',
  tags: TAGS,
  summary: 'Keys and certificates (fieldseal key list)',
  middleware,
  responses,
});
const releasesRoute = createRoute({
  method: 'get',
  path: '/releases',
  tags: TAGS,
  summary: 'Sealed releases on record, the latest first',
  middleware,
  responses,
});
const trustRoute = createRoute({
  method: 'get',
  path: '/trust',
  tags: TAGS,
  summary: 'Who trusts whom: roots, signers, shared keys, classes',
  middleware,
  responses,
});
const ledgerRoute = createRoute({
  method: 'get',
  path: '/ledger',
  tags: TAGS,
  summary: 'The ledger (fieldseal ledger list)',
  middleware,
  responses,
});

/** What stands in the workspace. Reads only. */
export function bookRoutes() {
  return newRoutes()
    .openapi(standingRoute, async (c) =>
      c.json(documentSchema.parse(await standingJson(await c.env.desk.workspace())), 200),
    )
    .openapi(classesRoute, async (c) => {
      const workspace = await c.env.desk.workspace();
      const classes = await Promise.all(
        listClasses(workspace).map(async (name) => classJson(workspace, await readClass(workspace, name))),
      );
      return c.json({ format: 'fieldseal.classes/1', classes }, 200);
    })
    .openapi(classRoute, async (c) => {
      const workspace = await c.env.desk.workspace();
      const shown = classJson(workspace, await readClass(workspace, c.req.valid('param').name));
      return c.json(documentSchema.parse(shown), 200);
    })
    .openapi(keysRoute, async (c) =>
      c.json(documentSchema.parse(keysJson(keyStandings(await c.env.desk.workspace()))), 200),
    )
    .openapi(releasesRoute, async (c) =>
      c.json({ format: 'fieldseal.releases/1', releases: releasesJson(await c.env.desk.workspace()) }, 200),
    )
    .openapi(trustRoute, async (c) =>
      c.json(documentSchema.parse(await trustJson(await c.env.desk.workspace())), 200),
    )
    .openapi(ledgerRoute, async (c) =>
      c.json({ format: 'fieldseal.ledger/1', entries: readLedger(await c.env.desk.workspace()) }, 200),
    );
}

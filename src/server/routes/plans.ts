import { createRoute } from '@hono/zod-openapi';
import { exposureJson, exposureOf } from '../../incident/index.ts';
import { readFigures, trustPlan } from '../../plan/index.ts';
import { readClass } from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import { answers, newRoutes } from './answers.ts';
import { documentSchema, nameParamSchema } from './schemas.ts';

const TAGS = ['plan'];
const middleware = requireRight('read');
const request = { params: nameParamSchema };
const responses = answers(documentSchema, 'the document');

const planRoute = createRoute({
  method: 'get',
  path: '/plans/{name}',
  tags: TAGS,
  summary: 'The trust plan of a class, with its consequences (fieldseal plan)',
  middleware,
  request,
  responses,
});
const exposureRoute = createRoute({
  method: 'get',
  path: '/exposures/{name}',
  tags: TAGS,
  summary: 'What a leak of a key means (fieldseal exposure)',
  middleware,
  request,
  responses,
});

/** What follows from a choice, and from a leak. */
export function planRoutes() {
  return newRoutes()
    .openapi(planRoute, async (c) => {
      const workspace = await c.env.desk.workspace();
      const deviceClass = await readClass(workspace, c.req.valid('param').name);
      const plan = await trustPlan(workspace, deviceClass, await readFigures(workspace, undefined));
      return c.json(documentSchema.parse(plan), 200);
    })
    .openapi(exposureRoute, async (c) => {
      const workspace = await c.env.desk.workspace();
      const exposure = await exposureOf(workspace, c.req.valid('param').name, undefined);
      return c.json(documentSchema.parse(exposureJson(exposure)), 200);
    });
}

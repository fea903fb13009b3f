import { createRoute, z } from '@hono/zod-openapi';
import {
  begin,
  broadcastJson,
  draftPlan,
  judgementJson,
  judgePlan,
  planFromText,
} from '../../fleet/index.ts';
import { readClass } from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import type { Session } from '../access/sessions.ts';
import { DeskError } from '../error.ts';
import type { Uploads } from '../held/uploads.ts';
import { answers, jsonBody, newRoutes } from './answers.ts';
import {
  beginRequestSchema,
  draftRequestSchema,
  draftSchema,
  judgementRequestSchema,
  judgementSchema,
} from './fleet-schemas.ts';
import { fileIdSchema } from './schemas.ts';

const tags = ['broadcasts'];
const middleware = requireRight('operate');

const draftRoute = createRoute({
  method: 'post',
  path: '/broadcasts/drafts',
  tags,
  summary: 'A plan of waves to begin from (fieldseal broadcast plan --out)',
  middleware,
  request: jsonBody(draftRequestSchema),
  responses: answers(draftSchema, 'the plan'),
});
const judgementRoute = createRoute({
  method: 'post',
  path: '/broadcasts/judgements',
  tags,
  summary:
    'Judge a plan of waves against the fleet, and what is to be sent by it (fieldseal broadcast plan --plan); nothing begins',
  middleware,
  request: jsonBody(judgementRequestSchema),
  responses: answers(
    judgementSchema,
    'what each wave would hold, what the pilot lacks, and whether the files may be sent',
  ),
});
const beginRoute = createRoute({
  method: 'post',
  path: '/broadcasts',
  tags,
  summary:
    'Begin a broadcast (fieldseal broadcast begin); goes on as a job. Nothing is announced until it is steered',
  middleware,
  request: jsonBody(beginRequestSchema),
  responses: answers(
    z.object({ job: fileIdSchema }),
    'the job; its result is the document of fieldseal broadcast begin, with its cautions',
  ),
});

/** Planning a broadcast, judging the plan, and beginning it. */
export function beginRoutes() {
  return newRoutes()
    .openapi(draftRoute, async (c) => {
      const { desk } = c.env;
      const { class: className } = c.req.valid('json');
      const workspace = await desk.workspace();
      const deviceClass = await readClass(workspace, className);
      const plan = await draftPlan(workspace, await desk.fleet.storeForRecords(), deviceClass);
      const format = 'fieldseal.desk-broadcast-draft/1' as const;
      return c.json({ format, class: className, plan, depot: desk.depot?.folder ?? null }, 200);
    })
    .openapi(judgementRoute, async (c) => {
      const { desk } = c.env;
      const asked = c.req.valid('json');
      const workspace = await desk.workspace();
      const deviceClass = await readClass(workspace, asked.class);
      const plan = await planFromText(asked.plan, planName(asked.class));
      const store = await desk.fleet.storeForRecords();
      const session = c.get('session');
      const sent = asked.file === undefined ? undefined : sentOf(desk.uploads, session, asked, asked.file);
      const judgement = await judgePlan({ workspace, store, deviceClass, plan, sent });
      return c.json(judgementSchema.parse(judgementJson(plan, judgement)), 200);
    })
    .openapi(beginRoute, async (c) => {
      const { desk } = c.env;
      const session = c.get('session');
      const asked = c.req.valid('json');
      const workspace = await desk.workspace();
      const deviceClass = await readClass(workspace, asked.class);
      const made = {
        ...{ workspace, deviceClass, who: session.who },
        plan: await planFromText(asked.plan, planName(asked.class)),
        depot: requireDepot(desk.depot, asked.class),
        ...sentOf(desk.uploads, session, asked, asked.file),
      };
      requireConfirmed(asked);
      const job = desk.jobs.start(session, async () => {
        const store = await desk.fleet.storeForRecords();
        const { broadcast, cautions } = await begin({ ...made, store });
        return { ...(await broadcastJson(store, deviceClass, broadcast, workspace.now())), cautions };
      });
      return c.json({ job }, 200);
    });
}

/** The files that a request names. Throws `DeskError` not-there. */
function sentOf(
  uploads: Uploads,
  session: Session,
  asked: { readonly images: readonly string[]; readonly stepping_stones: readonly string[] },
  file: string,
) {
  const pathOf = (id: string) => uploads.find(session, id).path;
  return {
    envelope: pathOf(file),
    images: asked.images.map(pathOf),
    steppingStones: asked.stepping_stones.map(pathOf),
  };
}

/** What a plan that came as text is called where its mistakes are told. */
const planName = (className: string) => `${className}-waves.yaml`;

/** Only whoever opened the desk says where units fetch from. Throws `DeskError` depot-unnamed. */
function requireDepot<Depot>(depot: Depot | undefined, className: string): Depot {
  if (depot !== undefined) return depot;
  throw new DeskError(
    'depot-unnamed',
    'this desk does not know which folder units fetch from, so nothing was begun',
    `open it with "fieldseal serve --depot DIR", or begin at the command line: fieldseal broadcast begin ${className} ENVELOPE --plan FILE --depot DIR`,
  );
}

/** Throws `DeskError` request-wrong. */
function requireConfirmed({ class: className, confirm }: { class: string; confirm: string }): void {
  if (confirm === className) return;
  throw new DeskError(
    'request-wrong',
    `nothing was begun: it was not confirmed with ${className}`,
    'read what follows, then send the name of the class as confirm',
  );
}

import { setImmediate } from 'node:timers/promises';
import { createRoute, z } from '@hono/zod-openapi';
import type { Context } from 'hono';
import { sourceOf } from '../../bytes/index.ts';
import { classRecord } from '../../provision/index.ts';
import {
  enterRehearsal,
  FORGERIES,
  rehearsalJson,
  rehearse,
  requireEnvelope,
  type Subject,
} from '../../rehearsal/index.ts';
import { UNIT_LIMITS } from '../../unit/index.ts';
import { fileSource, readClass } from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import { allows } from '../access/roles.ts';
import type { DeskEnv } from '../context.ts';
import { DeskError } from '../error.ts';
import { refusalJson, stepJson } from '../held/outcome.ts';
import type { Upload } from '../held/uploads.ts';
import { answers, jsonBody, newRoutes } from './answers.ts';
import { documentSchema, fileIdSchema, forgeryRequestSchema, rehearsalRequestSchema } from './schemas.ts';

const ANY_SERIAL = 'rehearsal';

const rehearseRoute = createRoute({
  method: 'post',
  path: '/rehearsals',
  tags: ['rehearsal'],
  summary: 'Make every forgery of a payload and have each refused (fieldseal rehearse); goes on as a job',
  middleware: requireRight('read'),
  request: jsonBody(rehearsalRequestSchema),
  responses: answers(z.object({ job: fileIdSchema }), 'the job'),
});

const forgeriesRoute = createRoute({
  method: 'get',
  path: '/forgeries',
  tags: ['rehearsal'],
  summary: 'The table of forgeries',
  middleware: requireRight('read'),
  responses: answers(documentSchema, 'the table'),
});
const forgeryRoute = createRoute({
  method: 'post',
  path: '/forgeries',
  tags: ['rehearsal'],
  summary: 'Make one forgery of a payload, and watch where it falls',
  middleware: requireRight('read'),
  request: jsonBody(forgeryRequestSchema),
  responses: answers(documentSchema, 'what came of it'),
});

/** Rehearsing before a broadcast. */
export function rehearsalRoutes() {
  return newRoutes()
    .openapi(rehearseRoute, async (c) => {
      const { desk } = c.env;
      const subject = await subjectOf(c, c.req.valid('json'));
      const workspace = await desk.workspace();
      const { role } = c.get('session');
      const job = desk.jobs.start(c.get('session'), async (tell) => {
        const rehearsal = await rehearse(subject, async (done, total) => {
          tell('making forgeries', done, total);
          // Others at the desk are answered between two forgeries.
          await setImmediate();
        });
        const document = rehearsalJson(subject, rehearsal);
        // Whoever only looks leaves nothing behind.
        const entered = allows(role, 'request');
        if (entered) enterRehearsal(workspace, document);
        return { ...document, entered };
      });
      return c.json({ job }, 200);
    })
    .openapi(forgeriesRoute, (c) => {
      const forgeries = FORGERIES.map(({ name, threat, built }) => ({ name, threat, built }));
      return c.json({ format: 'fieldseal.forgeries/1', forgeries }, 200);
    })
    .openapi(forgeryRoute, async (c) => {
      const { forgery, ...asked } = c.req.valid('json');
      const table = FORGERIES.filter(({ name }) => name === forgery);
      if (table.length === 0)
        throw new DeskError('not-there', `there is no forgery "${forgery}"`, 'see GET /forgeries');
      const rehearsal = await rehearse(await subjectOf(c, asked), () => {}, table);
      const told = forgeryJson(rehearsal);
      return c.json(documentSchema.parse({ format: 'fieldseal.forgery-outcome/1', ...told }), 200);
    });
}

function forgeryJson(rehearsal: Awaited<ReturnType<typeof rehearse>>): object {
  if (rehearsal.kind === 'not taken') {
    const { why, refusal, verdict } = rehearsal;
    return { outcome: 'not taken', why, refusal: refusalJson(refusal), steps: verdict.steps.map(stepJson) };
  }
  const [{ row, outcome, against, heard, because, steps = [] }] = rehearsal.rows as [
    (typeof rehearsal.rows)[0],
  ];
  const { name, threat, built } = row;
  return {
    outcome,
    why: because ?? null,
    forgery: { name, threat, built },
    against,
    heard: heard ?? null,
    steps: steps.map(stepJson),
  };
}

async function subjectOf(
  c: Context<DeskEnv>,
  { file, image, class: className }: { file: string; image?: string | undefined; class: string },
): Promise<Subject> {
  const { desk } = c.env;
  const session = c.get('session');
  const given = desk.uploads.find(session, file);
  const offer = {
    envelope: wholeOf(given),
    ...(image !== undefined && { image: wholeOf(desk.uploads.find(session, image)) }),
  };
  const workspace = await desk.workspace();
  requireEnvelope(sourceOf(offer.envelope), given.name, workspace);
  const deviceClass = await readClass(workspace, className);
  return { offer, record: classRecord(workspace, deviceClass, { serial: ANY_SERIAL }), now: workspace.now() };
}

function wholeOf({ path, size, name }: Upload): Uint8Array {
  const largest = UNIT_LIMITS.messageBytes.value;
  if (size > largest) {
    throw new DeskError(
      'too-large',
      `${name} has ${size} bytes; a rehearsal holds at most ${largest} in memory`,
      'check an image of that size on a unit, and rehearse a small one of the same class',
    );
  }
  const source = fileSource(path);
  try {
    return new Uint8Array(source.read(0, source.size));
  } finally {
    source.close();
  }
}

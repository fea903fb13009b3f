import { setImmediate } from 'node:timers/promises';
import { createRoute, z } from '@hono/zod-openapi';
import { classRecord } from '../../provision/index.ts';
import { rehearsalJson, rehearse } from '../../rehearsal/index.ts';
import { UNIT_LIMITS } from '../../unit/index.ts';
import { fileSource, readClass } from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import { DeskError } from '../error.ts';
import type { Upload } from '../work/uploads.ts';
import { answers, jsonBody, newRoutes } from './answers.ts';
import { fileIdSchema, rehearsalRequestSchema } from './schemas.ts';

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

/** Rehearsing before a broadcast. */
export function rehearsalRoutes() {
  return newRoutes().openapi(rehearseRoute, async (c) => {
    const { desk } = c.env;
    const session = c.get('session');
    const { file, image, class: className } = c.req.valid('json');
    const offer = {
      envelope: wholeOf(desk.uploads.find(session, file)),
      ...(image !== undefined && { image: wholeOf(desk.uploads.find(session, image)) }),
    };
    const workspace = await desk.workspace();
    const deviceClass = await readClass(workspace, className);
    const record = classRecord(workspace, deviceClass, { serial: ANY_SERIAL });
    const subject = { offer, record, now: workspace.now() };
    const job = desk.jobs.start(session, async (tell) => {
      const rehearsal = await rehearse(subject, async (done, total) => {
        tell('making forgeries', done, total);
        // Others at the desk are answered between two forgeries.
        await setImmediate();
      });
      return rehearsalJson(subject, rehearsal);
    });
    return c.json({ job }, 200);
  });
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
    return source.read(0, source.size).slice();
  } finally {
    source.close();
  }
}

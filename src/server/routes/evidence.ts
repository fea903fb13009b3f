import type { z } from '@hono/zod-openapi';
import { createRoute } from '@hono/zod-openapi';
import { fromUtf8 } from '../../bytes/index.ts';
import { type Evidence, evidencePage, gatherEvidence } from '../../evidence/index.ts';
import { requireRight } from '../access/guard.ts';
import type { Session } from '../access/sessions.ts';
import type { Desk } from '../context.ts';
import { answers, jsonBody, newRoutes } from './answers.ts';
import { uploadJson } from './files.ts';
import { documentSchema, evidenceRequestSchema, uploadSchema } from './schemas.ts';

const TAGS = ['evidence'];
const middleware = requireRight('read');

const gatherRoute = createRoute({
  method: 'post',
  path: '/evidence',
  tags: TAGS,
  summary: 'The evidence for a release (fieldseal evidence)',
  middleware,
  request: jsonBody(evidenceRequestSchema),
  responses: answers(documentSchema, 'the document'),
});
const pageRoute = createRoute({
  method: 'post',
  path: '/evidence/pages',
  tags: TAGS,
  summary: 'The same as one page for an auditor (fieldseal evidence --out), among the files of the session',
  middleware,
  request: jsonBody(evidenceRequestSchema),
  responses: answers(uploadSchema, 'the page, as a file'),
});

/** What can be shown about a release. Reads only. */
export function evidenceRoutes() {
  return newRoutes()
    .openapi(gatherRoute, async (c) => {
      const evidence = await gather(c.env.desk, c.get('session'), c.req.valid('json'));
      return c.json(documentSchema.parse(evidence), 200);
    })
    .openapi(pageRoute, async (c) => {
      const { desk } = c.env;
      const asked = c.req.valid('json');
      const evidence = await gather(desk, c.get('session'), asked);
      const name = `evidence-${asked.release.replace('/', '-')}.html`;
      const page = await desk.uploads.take(c.get('session'), name, onePiece(evidencePage(evidence)));
      return c.json(uploadJson(page), 200);
    });
}

async function gather(
  desk: Desk,
  session: Session,
  { release, envelope, rehearsals, acceptance }: z.output<typeof evidenceRequestSchema>,
): Promise<Evidence> {
  const pathOf = (id: string) => desk.uploads.find(session, id).path;
  return gatherEvidence({
    workspace: await desk.workspace(),
    release,
    envelope: envelope && pathOf(envelope),
    rehearsals: rehearsals.map(pathOf),
    acceptance: acceptance.map(pathOf),
  });
}

async function* onePiece(text: string): AsyncGenerator<Uint8Array> {
  yield fromUtf8(text);
}

import { createReadStream } from 'node:fs';
import { Readable } from 'node:stream';
import { createRoute, z } from '@hono/zod-openapi';
import { anatomyJson, anatomyOf, releasesJson } from '../../answers/index.ts';
import { trustUpdates } from '../../release/index.ts';
import { fileSource, type JsonObject, listClasses, type Workspace } from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import type { Session } from '../access/sessions.ts';
import type { Desk } from '../context.ts';
import { DeskError } from '../error.ts';
import type { Upload } from '../held/uploads.ts';
import { answers, newRoutes } from './answers.ts';
import { documentSchema, fileIdSchema, sha256Schema, uploadSchema } from './schemas.ts';

const TAGS = ['files'];
const middleware = requireRight('read');
const params = z.object({ id: fileIdSchema });

const takeRoute = createRoute({
  method: 'post',
  path: '/files',
  tags: TAGS,
  summary: 'Bring a file to the desk; it stays on this server and goes with the session',
  middleware,
  request: {
    query: z.object({ name: z.string().min(1).max(255) }),
    body: {
      content: {
        'application/octet-stream': { schema: z.any().openapi({ type: 'string', format: 'binary' }) },
      },
      required: true,
    },
  },
  responses: answers(uploadSchema, 'the file'),
});
const namedRoute = createRoute({
  method: 'get',
  path: '/files/by-digest/{sha256}',
  tags: TAGS,
  summary: 'A file by its SHA-256: one that this session brought, or an envelope that was sealed at the desk',
  middleware,
  request: { params: z.object({ sha256: sha256Schema }) },
  responses: answers(uploadSchema, 'the file'),
});
const bytesRoute = createRoute({
  method: 'get',
  path: '/files/{id}',
  tags: TAGS,
  summary: 'The bytes of a file at the desk',
  middleware,
  request: { params },
  responses: { 200: { description: 'the bytes' } },
});
const anatomyRoute = createRoute({
  method: 'get',
  path: '/files/{id}/anatomy',
  tags: TAGS,
  summary: 'Every byte of a file accounted for (fieldseal inspect)',
  middleware,
  request: { params },
  responses: answers(documentSchema, 'the anatomy'),
});

/** Files dropped at the desk. */
export function fileRoutes() {
  return newRoutes()
    .openapi(takeRoute, async (c) => {
      const upload = await c.env.desk.uploads.take(
        c.get('session'),
        c.req.valid('query').name,
        c.env.incoming as AsyncIterable<Uint8Array>,
      );
      return c.json(uploadJson(upload), 200);
    })
    .openapi(namedRoute, async (c) => {
      const upload = await fileNamed(c.env.desk, c.get('session'), c.req.valid('param').sha256);
      return c.json(uploadJson(upload), 200);
    })
    .openapi(bytesRoute, (c) => {
      const upload = c.env.desk.uploads.find(c.get('session'), c.req.valid('param').id);
      const stream = Readable.toWeb(createReadStream(upload.path)) as ReadableStream;
      return c.body(stream, 200, {
        'content-type': 'application/octet-stream',
        'content-length': String(upload.size),
        'content-disposition': `attachment; filename*=UTF-8''${encodeURIComponent(upload.name)}`,
      });
    })
    .openapi(anatomyRoute, (c) => {
      const upload = c.env.desk.uploads.find(c.get('session'), c.req.valid('param').id);
      const source = fileSource(upload.path);
      try {
        return c.json(documentSchema.parse(anatomyJson(upload.name, source.size, anatomyOf(source))), 200);
      } finally {
        source.close();
      }
    });
}

/** What an address names by digest: whoever follows it may not have brought the file. */
async function fileNamed(desk: Desk, session: Session, sha256: string): Promise<Upload> {
  const brought = desk.uploads.findByDigest(session, sha256);
  if (brought) return brought;
  const workspace = await desk.workspace();
  const sealed = sealedOnRecord(workspace).find(({ envelope }) => envelope.sha256 === sha256);
  const adopted = sealed && adoptSealed(desk, session, workspace, sealed.envelope.file);
  // A file of that name that was changed since is not what the address names.
  if (adopted && adopted.sha256 === sha256) return adopted;
  throw new DeskError(
    'not-there',
    `the address names ${sealed?.says ?? 'a file'} with the SHA-256 ${sha256.slice(0, 16)}..., which is not at this desk`,
    'drop it here, and everything else is as the address says',
  );
}

/** Releases and trust updates, as their records name their envelopes. */
function sealedOnRecord(workspace: Workspace) {
  const named = (facts: JsonObject, says: string) => ({
    says,
    envelope: facts.envelope as { file: string; sha256: string },
  });
  return [
    ...releasesJson(workspace).map((facts) =>
      named(facts, `the envelope of ${facts.class} ${facts.version}`),
    ),
    ...listClasses(workspace).flatMap((name) =>
      trustUpdates(workspace, name).map((facts) => named(facts, `a trust update of ${name}`)),
    ),
  ];
}

/** An envelope that the desk sealed, where it still lies there: names come from the folder, never from outside. */
function adoptSealed(desk: Desk, session: Session, workspace: Workspace, file: string): Upload | undefined {
  const name = workspace.files.list(workspace.path('envelopes')).find((each) => each === file);
  return name === undefined
    ? undefined
    : desk.uploads.adopt(session, name, workspace.path('envelopes', name));
}

/** A file for programs. */
export function uploadJson({ id, name, size, sha256 }: Upload) {
  return { id, name, size_bytes: size, sha256 };
}

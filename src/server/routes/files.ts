import { createReadStream } from 'node:fs';
import { Readable } from 'node:stream';
import { createRoute, z } from '@hono/zod-openapi';
import { anatomyJson, anatomyOf } from '../../answers/index.ts';
import { fileSource } from '../../workspace/index.ts';
import { requireRight } from '../access/guard.ts';
import type { Upload } from '../held/uploads.ts';
import { answers, newRoutes } from './answers.ts';
import { documentSchema, fileIdSchema, uploadSchema } from './schemas.ts';

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

/** A file for programs. */
export function uploadJson({ id, name, size, sha256 }: Upload) {
  return { id, name, size_bytes: size, sha256 };
}

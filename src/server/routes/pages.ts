import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { Hono } from 'hono';
import type { DeskEnv } from '../context.ts';

const TYPES: Readonly<Record<string, string>> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript; charset=utf-8',
  '.css': 'text/css; charset=utf-8',
  '.svg': 'image/svg+xml',
};
const FOR_EVER = 'public, max-age=31536000, immutable';

/** The pages: read once when the desk opens, so that no request reaches the file system. `folder`: the built pages. */
export function pageRoutes(folder: string) {
  const files = new Map(
    readdirSync(folder).map((name) => [`/${name}`, new Uint8Array(readFileSync(join(folder, name)))]),
  );
  const index = files.get('/index.html')!;
  const app = new Hono<DeskEnv>();
  app.get('*', (c, next) => {
    const bytes = files.get(c.req.path);
    const type = TYPES[/\.[a-z]+$/.exec(c.req.path)?.[0] ?? ''];
    if (bytes && type && c.req.path !== '/index.html')
      return c.body(bytes, 200, { 'content-type': type, 'cache-control': FOR_EVER });
    // Every address without a dot is a page: the script finds out which.
    if (c.req.path.startsWith('/api/') || c.req.path.includes('.')) return next();
    return c.body(index, 200, { 'content-type': TYPES['.html']!, 'cache-control': 'no-cache' });
  });
  return app;
}

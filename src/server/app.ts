import { getConnInfo } from '@hono/node-server/conninfo';
import { OpenAPIHono } from '@hono/zod-openapi';
import type { Context } from 'hono';
import { bodyLimit } from 'hono/body-limit';
import { HTTPException } from 'hono/http-exception';
import type { ContentfulStatusCode } from 'hono/utils/http-status';
import { requireOwnHost, requireOwnSite } from './access/guard.ts';
import type { DeskEnv } from './context.ts';
import { DeskError } from './error.ts';
import { explain, statusOf } from './explain.ts';
import { securityHeaders } from './headers.ts';
import { attestationRoutes } from './routes/attestation.ts';
import { beginRoutes } from './routes/begin.ts';
import { bookRoutes } from './routes/books.ts';
import { broadcastRoutes } from './routes/broadcasts.ts';
import { evidenceRoutes } from './routes/evidence.ts';
import { fileRoutes } from './routes/files.ts';
import { fleetRoutes } from './routes/fleet.ts';
import { incidentRoutes } from './routes/incidents.ts';
import { pageRoutes } from './routes/pages.ts';
import { planRoutes } from './routes/plans.ts';
import { rehearsalRoutes } from './routes/rehearsal.ts';
import { requestRoutes } from './routes/requests.ts';
import { sealRoutes } from './routes/seal.ts';
import { sessionRoutes } from './routes/session.ts';
import { unitRoutes } from './routes/units.ts';

const LARGEST_JSON = 256 * 1024;
const API = '/api/v1';

/** The desk as one application: who may ask comes first, then the routes, then the pages. */
export function makeApp(pages: string, complain: (error: unknown) => void) {
  const app = new OpenAPIHono<DeskEnv>();
  app.use(securityHeaders);
  app.use(requireOwnHost);
  app.use(async (c, next) => {
    const wait = c.env.desk.requests.take(getConnInfo(c).remote.address ?? '');
    if (wait > 0) throw new DeskError('too-often', 'too many requests', `wait ${wait} seconds`);
    await next();
  });
  app.use(`${API}/*`, requireOwnSite);
  app.use(`${API}/*`, async (c, next) => {
    c.header('cache-control', 'no-store');
    return c.req.header('content-type') === 'application/octet-stream' ? next() : limitJson(c, next);
  });
  const api = apiRoutes();
  app.route(API, api);
  app.doc31(`${API}/openapi.json`, {
    openapi: '3.1.0',
    info: {
      title: 'fieldseal desk',
      version: '1',
      description:
        'What the desk shows and does, for build servers and scripts. Programs send "Authorization: Bearer TOKEN"; ' +
        'see "fieldseal account add --program".',
    },
    servers: [{ url: '/' }],
  });
  app.route('/', pageRoutes(pages));
  app.onError((error, c) => {
    if (statusOf(error) === 500 && !(error instanceof HTTPException)) complain(error);
    return fail(c, error instanceof HTTPException ? wrongRequest(error) : error);
  });
  app.notFound((c) =>
    fail(c, new DeskError('not-there', 'there is nothing at this address', 'see /api/v1/openapi.json')),
  );
  return app;
}

const limitJson = bodyLimit({
  maxSize: LARGEST_JSON,
  onError: () => {
    throw new DeskError(
      'too-large',
      `the request has more than ${LARGEST_JSON} bytes`,
      'bring files with POST /files',
    );
  },
});

function apiRoutes() {
  const api = new OpenAPIHono<DeskEnv>();
  for (const routes of [
    sessionRoutes(),
    bookRoutes(),
    fileRoutes(),
    unitRoutes(),
    sealRoutes(),
    requestRoutes(),
    rehearsalRoutes(),
    attestationRoutes(),
    planRoutes(),
    incidentRoutes(),
    evidenceRoutes(),
    fleetRoutes(),
    broadcastRoutes(),
    beginRoutes(),
  ])
    api.route('/', routes);
  return api;
}

function wrongRequest(error: HTTPException): DeskError {
  return new DeskError(
    'request-wrong',
    error.message || 'the request cannot be read',
    'see /api/v1/openapi.json',
  );
}

function fail(c: Context<DeskEnv>, error: unknown) {
  return c.json(
    { format: 'fieldseal.error/1', error: explain(error) },
    statusOf(error) as ContentfulStatusCode,
  );
}

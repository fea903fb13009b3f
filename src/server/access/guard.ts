import { getCookie } from 'hono/cookie';
import { createMiddleware } from 'hono/factory';
import type { DeskEnv } from '../context.ts';
import { DeskError } from '../error.ts';
import { isHere, programSession } from './presence.ts';
import { allows, RIGHTS, type Right } from './roles.ts';
import type { Session } from './sessions.ts';

/** A header that no form and no link of another site can set without asking first (Fetch standard, CORS preflight). */
export const DESK_HEADER = 'x-fieldseal-desk';
const SAFE = new Set(['GET', 'HEAD']);
const OWN_SITE = new Set(['same-origin', 'none']);

/** Only the names that the desk listens under: another name in Host means that somebody rebound a name to this address. */
export const requireOwnHost = createMiddleware<DeskEnv>(async (c, next) => {
  const host = c.req.header('host');
  if (host === undefined || !c.env.desk.hosts.has(host.toLowerCase())) {
    throw new DeskError(
      'host-unknown',
      'this desk does not answer under that name',
      `open it under ${c.env.desk.origin}`,
    );
  }
  await next();
});

/** What changes something comes from the desk's own pages, or from a program with a token. */
export const requireOwnSite = createMiddleware<DeskEnv>(async (c, next) => {
  if (!SAFE.has(c.req.method) && bearerOf(c.req.header('authorization')) === undefined) {
    const origin = c.req.header('origin');
    const site = c.req.header('sec-fetch-site');
    const own =
      (origin === undefined || origin === c.env.desk.origin) && (site === undefined || OWN_SITE.has(site));
    if (!own || c.req.header(DESK_HEADER) === undefined) {
      throw new DeskError(
        'other-site',
        'this request did not come from a page of the desk',
        `use the pages under ${c.env.desk.origin}, or a token of an account for programs`,
      );
    }
  }
  await next();
});

/** Somebody must have entered, and their role must have the right. */
export function requireRight(right: Right) {
  return createMiddleware<DeskEnv>(async (c, next) => {
    const session = sessionOf(c.env.desk, getCookie(c, c.env.desk.cookie), c.req.header('authorization'));
    if (!session) {
      throw new DeskError(
        'not-entered',
        'nobody has entered the desk here, or the session has ended',
        'open the link that "fieldseal serve" prints; press Enter there for a new one',
      );
    }
    requireAllowed(session, right);
    c.set('session', session);
    await next();
  });
}

/** Throws `DeskError` not-allowed. */
export function requireAllowed({ role }: Session, right: Right): void {
  if (allows(role, right)) return;
  throw new DeskError(
    'not-allowed',
    `the role ${role} may not ${right}: ${RIGHTS[right]}`,
    'ask somebody whose role allows it',
  );
}

function sessionOf(
  desk: DeskEnv['Bindings']['desk'],
  cookie: string | undefined,
  header: string | undefined,
) {
  const token = bearerOf(header);
  if (token !== undefined) {
    const account = desk.accounts.byToken(token);
    return account && programSession(account);
  }
  const session = cookie === undefined ? undefined : desk.sessions.find(cookie);
  if (!session || isHere(desk, session)) return session;
  desk.sessions.end(cookie!);
  return undefined;
}

function bearerOf(header: string | undefined): string | undefined {
  return /^Bearer ([A-Za-z0-9_-]{43})$/.exec(header ?? '')?.[1];
}

import { getConnInfo } from '@hono/node-server/conninfo';
import { createRoute } from '@hono/zod-openapi';
import type { Context } from 'hono';
import { deleteCookie, getCookie, setCookie } from 'hono/cookie';
import { proofOf } from '../access/accounts.ts';
import { requireRight } from '../access/guard.ts';
import { ROLES, type Role } from '../access/roles.ts';
import { type Session, THIS_MACHINE } from '../access/sessions.ts';
import type { Desk, DeskEnv } from '../context.ts';
import { DeskError } from '../error.ts';
import { answers, jsonBody, newRoutes } from './answers.ts';
import { entryRequestSchema, loginRequestSchema, sessionSchema, unlockRequestSchema } from './schemas.ts';

const TAGS = ['session'];

const whoRoute = createRoute({
  method: 'get',
  path: '/session',
  tags: TAGS,
  summary: 'Who is at the desk, and what they may do',
  middleware: requireRight('read'),
  responses: answers(sessionSchema, 'the session'),
});
const enterRoute = createRoute({
  method: 'post',
  path: '/session/entry',
  tags: TAGS,
  summary: 'Enter with the one-time link that "fieldseal serve" prints',
  request: jsonBody(entryRequestSchema),
  responses: answers(sessionSchema, 'the session; its cookie is set'),
});
const loginRoute = createRoute({
  method: 'post',
  path: '/session/login',
  tags: TAGS,
  summary: 'Enter with a named account, where the desk listens beyond this machine',
  request: jsonBody(loginRequestSchema),
  responses: answers(sessionSchema, 'the session; its cookie is set'),
});
const leaveRoute = createRoute({
  method: 'delete',
  path: '/session',
  tags: TAGS,
  summary: 'Leave the desk: files, units and a held passphrase are forgotten',
  middleware: requireRight('read'),
  responses: { 204: { description: 'left' } },
});
const unlockRoute = createRoute({
  method: 'post',
  path: '/session/passphrase',
  tags: TAGS,
  summary: 'Hold the passphrase of working keys for a short while; never that of a root',
  middleware: requireRight('request'),
  request: jsonBody(unlockRequestSchema),
  responses: answers(sessionSchema, 'the session'),
});
const lockRoute = createRoute({
  method: 'delete',
  path: '/session/passphrase',
  tags: TAGS,
  summary: 'Forget the held passphrase now',
  middleware: requireRight('request'),
  responses: answers(sessionSchema, 'the session'),
});

/** Entering, leaving, and holding a passphrase. */
export function sessionRoutes() {
  return newRoutes()
    .openapi(whoRoute, (c) => c.json(told(c.env.desk, c.get('session')), 200))
    .openapi(enterRoute, (c) => {
      requireCalm(c);
      const { desk } = c.env;
      if (desk.open || !desk.entry.use(c.req.valid('json').entry)) {
        throw new DeskError(
          'entry-used',
          'this link was used before, or is too old',
          'press Enter where "fieldseal serve" runs; it prints a new one',
        );
      }
      return c.json(begin(c, THIS_MACHINE, 'owner', undefined), 200);
    })
    .openapi(loginRoute, async (c) => {
      requireCalm(c);
      const { name, password } = c.req.valid('json');
      const secret = new TextEncoder().encode(password);
      const account = c.env.desk.open ? await c.env.desk.accounts.byPassword(name, secret) : undefined;
      secret.fill(0);
      if (!account) {
        throw new DeskError(
          'password-wrong',
          'there is no such account, or that is not its password',
          'accounts are made with "fieldseal account add"',
        );
      }
      return c.json(begin(c, account.name, account.role, proofOf(account)), 200);
    })
    .openapi(leaveRoute, (c) => {
      c.env.desk.sessions.end(getCookie(c, c.env.desk.cookie) ?? '');
      deleteCookie(c, c.env.desk.cookie, { path: '/', secure: c.env.desk.open });
      return c.body(null, 204);
    })
    .openapi(unlockRoute, (c) => {
      const { passphrase, minutes } = c.req.valid('json');
      c.env.desk.unlocked.hold(c.get('session'), passphrase, minutes);
      return c.json(told(c.env.desk, c.get('session')), 200);
    })
    .openapi(lockRoute, (c) => {
      c.env.desk.unlocked.release(c.get('session'));
      return c.json(told(c.env.desk, c.get('session')), 200);
    });
}

function begin(c: Context<DeskEnv>, who: string, role: Role, proof: string | undefined) {
  const { desk } = c.env;
  desk.attempts.give(callerOf(c));
  const secret = desk.sessions.begin(who, role, proof);
  setCookie(c, desk.cookie, secret, { httpOnly: true, sameSite: 'Strict', secure: desk.open, path: '/' });
  return told(desk, desk.sessions.find(secret)!);
}

/** Guessing is slowed down, for each address that guesses. */
function requireCalm(c: Context<DeskEnv>): void {
  const wait = c.env.desk.attempts.take(callerOf(c));
  if (wait > 0) throw new DeskError('too-often', 'too many attempts', `wait ${wait} seconds`);
}

function callerOf(c: Context<DeskEnv>): string {
  return getConnInfo(c).remote.address ?? '';
}

function told(desk: Desk, session: Session) {
  const until = desk.unlocked.until(session);
  return {
    who: session.who,
    role: session.role,
    rights: [...ROLES[session.role]],
    unlocked_until: until === undefined ? null : new Date(until).toISOString(),
  };
}

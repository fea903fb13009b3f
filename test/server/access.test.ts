/** Who may use the desk: even on loopback, and more strictly beyond it. */
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readFileSync, statSync } from 'node:fs';
import { request as httpRequest } from 'node:http';
import { request as httpsRequest } from 'node:https';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it, vi } from 'vitest';
import { Entry } from '../../src/server/access/entry.ts';
import { RateLimit } from '../../src/server/access/rate.ts';
import { Sessions } from '../../src/server/access/sessions.ts';
import { Accounts } from '../../src/server/index.ts';
import { openWorkspace } from '../../src/workspace/index.ts';
import { enter, makeWorkspace, type Opened, OWN, openTestDesk } from './opened.ts';

let opened: Opened;
beforeAll(async () => {
  opened = await openTestDesk();
});
afterAll(() => opened.desk.close());

const code = async (answer: Response) => ((await answer.json()) as { error: { code: string } }).error.code;

describe('on loopback', () => {
  it('nothing but entering is answered without a session', async () => {
    const document = (await (await opened.ask('/api/v1/openapi.json')).json()) as {
      paths: Record<string, object>;
    };
    const routes = Object.entries(document.paths).flatMap(([path, methods]) =>
      Object.keys(methods).map((method) => [method.toUpperCase(), path] as const),
    );
    const free = new Set(['/api/v1/session/entry', '/api/v1/session/login']);
    expect(routes.length).toBeGreaterThan(15);
    for (const [method, path] of routes.filter(([, each]) => !free.has(each))) {
      const headers = path.endsWith('/files') ? { ...OWN, 'content-type': 'application/octet-stream' } : OWN;
      const answer = await opened.ask(path.replace(/\{\w+\}/g, 'x'.repeat(43)), {
        method,
        headers,
        ...(method === 'POST' && { body: '{}' }),
      });
      expect([path, answer.status]).toEqual([path, 401]);
    }
  });

  it('the link lets one browser in, once', async () => {
    const entry = new URL(opened.desk.entryLink()!).hash.slice(1);
    const init = { method: 'POST', headers: OWN, body: JSON.stringify({ entry }) };
    const first = await opened.ask('/api/v1/session/entry', init);
    expect(first.status).toBe(200);
    expect(first.headers.get('set-cookie')).toMatch(/HttpOnly; SameSite=Strict$/);
    const second = await opened.ask('/api/v1/session/entry', init);
    expect([second.status, await code(second)]).toEqual([401, 'entry-used']);
  });

  it('a new link takes the place of the one before', async () => {
    const old = new URL(opened.desk.entryLink()!).hash.slice(1);
    opened.desk.entryLink();
    const answer = await opened.ask('/api/v1/session/entry', {
      method: 'POST',
      headers: OWN,
      body: JSON.stringify({ entry: old }),
    });
    expect(answer.status).toBe(401);
  });

  it('another name in Host is not answered: a name was bound to this address from elsewhere', async () => {
    const port = Number(new URL(opened.desk.origin).port);
    for (const host of ['evil.example', `evil.example:${port}`, `127.0.0.1:${port + 1}`]) {
      const status = await new Promise((resolve, reject) =>
        httpRequest({ port, host: '127.0.0.1', path: '/', headers: { host } }, (answer) => {
          answer.resume();
          resolve(answer.statusCode);
        })
          .on('error', reject)
          .end(),
      );
      expect(status).toBe(421);
    }
  });

  it('what changes something must come from the own pages', async () => {
    const headers = await enter(opened);
    const unlock = (more: Record<string, string>) =>
      opened.ask('/api/v1/session/passphrase', {
        method: 'POST',
        headers: { ...headers, ...more },
        body: JSON.stringify({ passphrase: 'vents open at dawn', minutes: 1 }),
      });
    const foreigners: Record<string, string>[] = [
      { origin: 'https://evil.example' },
      { origin: 'null' },
      { 'sec-fetch-site': 'cross-site' },
      { 'sec-fetch-site': 'same-site' },
    ];
    for (const foreign of foreigners) expect(await code(await unlock(foreign))).toBe('other-site');
    const { 'x-fieldseal-desk': _, ...bare } = headers as Record<string, string>;
    const plain = await opened.ask('/api/v1/session/passphrase', { method: 'DELETE', headers: bare });
    expect(plain.status).toBe(403);
    expect((await unlock({ origin: opened.desk.origin, 'sec-fetch-site': 'same-origin' })).status).toBe(200);
  });

  it('leaving ends the session and what belonged to it', async () => {
    const headers = await enter(opened);
    expect((await opened.ask('/api/v1/session', { method: 'DELETE', headers })).status).toBe(204);
    expect((await opened.ask('/api/v1/session', { headers })).status).toBe(401);
  });

  it('every answer forbids everything from elsewhere', async () => {
    for (const path of ['/', '/desk-1.js', '/api/v1/session', '/nothing.txt']) {
      const { headers } = await opened.ask(path);
      expect(headers.get('content-security-policy')).toContain("default-src 'none'");
      expect(headers.get('content-security-policy')).not.toContain('unsafe');
      expect(headers.get('x-content-type-options')).toBe('nosniff');
    }
  });

  it('no request reaches the file system by its path', async () => {
    const headers = await enter(opened);
    for (const path of [
      '/../package.json',
      '/..%2f..%2fetc%2fpasswd',
      '/api/v1/files/..%2f..%2fetc%2fpasswd',
      '/api/v1/classes/..%2f..%2ffieldseal.yaml',
      '/index.html/../../fieldseal.yaml',
    ]) {
      const answer = await opened.ask(path, { headers });
      expect(await answer.text()).not.toMatch(/root:|vendor_domain|devDependencies/);
    }
    const unit = await opened.ask('/api/v1/plays', {
      method: 'POST',
      headers,
      body: JSON.stringify({ unit: '../fieldseal.yaml' }),
    });
    expect([unit.status, await code(unit)]).toEqual([404, 'not-there']);
  });

  it('a request of more than 256 KiB of JSON is refused', async () => {
    const headers = await enter(opened);
    const body = JSON.stringify({ passphrase: 'x'.repeat(300_000), minutes: 1 });
    const answer = await opened.ask('/api/v1/session/passphrase', { method: 'POST', headers, body });
    expect([answer.status, await code(answer)]).toEqual([413, 'too-large']);
  });
});

describe('beyond loopback', () => {
  const address = '0.0.0.0';

  it('the desk does not open without TLS, nor without an account', async () => {
    const folder = await makeWorkspace();
    await expect(openTestDesk({ folder, address })).rejects.toMatchObject({ code: 'address-open' });
    await expect(openTestDesk({ folder, address, tls: selfMade() })).rejects.toMatchObject({
      code: 'address-open',
      message: expect.stringContaining('nobody has an account'),
    });
  });

  it('with both it answers over TLS, under its name alone, to whoever gives a password', async () => {
    const folder = await makeWorkspace();
    const accounts = new Accounts(await openWorkspace(folder));
    await accounts.addPerson('mira', 'reader', new TextEncoder().encode('four random words here'));
    const tls = selfMade();
    const name = 'desk.hollinridge.example';
    const { desk } = await openTestDesk({ folder, address, tls, name });
    const ca = readFileSync(tls.certificate);
    const port = new URL(desk.origin).port;
    const ask = (
      path: string,
      body?: object,
      headers: Record<string, string> = OWN,
      host = `${name}:${port}`,
    ) =>
      new Promise<{ status: number; cookie: string | undefined; text: string }>((resolve, reject) => {
        const options = {
          host: '127.0.0.1',
          port,
          path,
          ca,
          servername: name,
          method: body ? 'POST' : 'GET',
          headers: { ...headers, host },
        };
        const sent = httpsRequest(options, (answer) => {
          let text = '';
          answer.on('data', (piece) => {
            text += piece;
          });
          answer.on('end', () =>
            resolve({ status: answer.statusCode!, cookie: answer.headers['set-cookie']?.[0], text }),
          );
        });
        sent.on('error', reject);
        sent.end(body && JSON.stringify(body));
      });
    try {
      expect(desk.origin).toBe(`https://${name}:${port}`);
      expect(desk.entryLink()).toBeUndefined();
      expect((await ask('/', undefined, {}, `127.0.0.1:${port}`)).status).toBe(421);
      const login = '/api/v1/session/login';
      expect((await ask(login, { name: 'mira', password: 'five random words here' })).status).toBe(401);
      const entered = await ask(login, { name: 'mira', password: 'four random words here' });
      expect(entered.status).toBe(200);
      expect(entered.cookie).toMatch(/^__Host-fieldseal=.*; Secure/);
      const headers = { ...OWN, cookie: entered.cookie!.split(';')[0]! };
      expect((await ask('/api/v1/standing', undefined, headers)).status).toBe(200);
      const hold = await ask('/api/v1/session/passphrase', { passphrase: 'x', minutes: 1 }, headers);
      expect([hold.status, hold.text]).toEqual([403, expect.stringContaining('may not request')]);
    } finally {
      await desk.close();
    }
  });

  it('passwords prove people, tokens prove programs, and roles say what they may', async () => {
    const folder = await makeWorkspace();
    const accounts = new Accounts(await openWorkspace(folder));
    await accounts.addPerson('mira', 'reader', new TextEncoder().encode('four random words here'));
    const token = accounts.addProgram('builder', 'requester');
    const file = join(folder, 'private', 'desk-accounts.json');
    expect(statSync(file).mode & 0o077).toBe(0);
    expect(readFileSync(file, 'utf8')).not.toContain(token);
    expect(readFileSync(file, 'utf8')).not.toContain('four random words');
    expect(
      (await accounts.byPassword('mira', new TextEncoder().encode('four random words here')))?.role,
    ).toBe('reader');
    expect(
      await accounts.byPassword('mira', new TextEncoder().encode('five random words here')),
    ).toBeUndefined();
    expect(
      await accounts.byPassword('nobody', new TextEncoder().encode('four random words here')),
    ).toBeUndefined();
    await expect(accounts.addPerson('tom', 'owner', new TextEncoder().encode('short'))).rejects.toMatchObject(
      {
        code: 'password-weak',
      },
    );
    const desk = await openTestDesk({ folder });
    try {
      const bearer = { authorization: `Bearer ${token}`, 'content-type': 'application/json' };
      expect(await (await desk.ask('/api/v1/session', { headers: bearer })).json()).toMatchObject({
        who: 'builder',
        rights: ['read', 'request'],
      });
      const challenge = await desk.ask('/api/v1/challenges', { method: 'POST', headers: bearer, body: '{}' });
      expect([challenge.status, await code(challenge)]).toEqual([403, 'not-allowed']);
      const approval = await desk.ask('/api/v1/requests/vent/1/approvals', {
        method: 'POST',
        headers: bearer,
        body: '{}',
      });
      expect([approval.status, await code(approval)]).toEqual([403, 'not-allowed']);
      const wrong = { authorization: `Bearer ${'A'.repeat(43)}` };
      expect((await desk.ask('/api/v1/session', { headers: wrong })).status).toBe(401);
    } finally {
      await desk.desk.close();
    }
  });
});

describe('what slows guessing and ends sessions', () => {
  it('a rate gives its burst, then its pace, to each caller alone', () => {
    let now = 0;
    const rate = new RateLimit({ burst: 2, perSecond: 1 }, () => now);
    expect([rate.take('a'), rate.take('a'), rate.take('a'), rate.take('b')]).toEqual([0, 0, 1, 0]);
    now += 1000;
    expect([rate.take('a'), rate.take('a')]).toEqual([0, 1]);
  });

  it('guessing a link is slowed down', async () => {
    const desk = await openTestDesk();
    // It stands still, however long the guesses take: a sixth is allowed twelve seconds after the first.
    const clock = vi.spyOn(Date, 'now').mockReturnValue(Date.now());
    try {
      const guess = () =>
        desk.ask('/api/v1/session/entry', {
          method: 'POST',
          headers: OWN,
          body: JSON.stringify({ entry: 'A'.repeat(43) }),
        });
      const statuses = [];
      for (let i = 0; i < 6; i++) statuses.push((await guess()).status);
      expect(statuses).toEqual([401, 401, 401, 401, 401, 429]);
    } finally {
      clock.mockRestore();
      await desk.desk.close();
    }
  });

  it('a link is good for a quarter of an hour', () => {
    let now = 0;
    const entry = new Entry(() => now);
    const early = entry.renew();
    now += 15 * 60_000 + 1;
    expect(entry.use(early)).toBe(false);
    expect(entry.use(entry.renew())).toBe(true);
  });

  it('a session ends after two idle hours, and after twelve whatever happens', () => {
    let now = 0;
    const ended: string[] = [];
    const sessions = new Sessions(
      () => now,
      ({ who }) => ended.push(who),
    );
    const idle = sessions.begin('idle', 'reader');
    const busy = sessions.begin('busy', 'reader');
    for (let hour = 0; hour < 12; hour++) {
      now += 3_600_000;
      expect(sessions.find(busy)?.who).toBe('busy');
    }
    expect(sessions.find(idle)).toBeUndefined();
    now += 1;
    expect(sessions.find(busy)).toBeUndefined();
    expect(ended).toEqual(['idle', 'busy']);
  });
});

/** A certificate for the desk, made by OpenSSL. */
function selfMade(): { certificate: string; key: string } {
  const folder = mkdtempSync(join(tmpdir(), 'tls-'));
  const [certificate, key] = [join(folder, 'desk.pem'), join(folder, 'desk.key')];
  const subject = [
    '-subj',
    '/CN=desk.hollinridge.example',
    '-addext',
    'subjectAltName=DNS:desk.hollinridge.example',
  ];
  execFileSync(
    'openssl',
    [
      'req',
      '-x509',
      '-newkey',
      'ec',
      '-pkeyopt',
      'ec_paramgen_curve:P-256',
      '-nodes',
      ...subject,
      '-keyout',
      key,
      '-out',
      certificate,
    ],
    { stdio: 'ignore' },
  );
  return { certificate, key };
}

import { mkdirSync, mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { type DeskOptions, type OpenDesk, openDesk } from '../../src/server/index.ts';
import { addClass, initWorkspace, openWorkspace } from '../../src/workspace/index.ts';

/** A desk over a new trial workspace with one class, and a way to ask it as a page does. */
export interface Opened {
  readonly desk: OpenDesk;
  readonly folder: string;
  readonly faults: unknown[];
  ask(path: string, init?: RequestInit): Promise<Response>;
}

export const OWN = { 'x-fieldseal-desk': '1', 'content-type': 'application/json' };

/** Opens a desk on loopback, or as `options` say. */
export async function openTestDesk(options: Partial<DeskOptions> = {}): Promise<Opened> {
  const folder = options.folder ?? (await makeWorkspace());
  const pages = mkdtempSync(join(tmpdir(), 'pages-'));
  writeFileSync(join(pages, 'index.html'), '<!doctype html><title>desk</title>');
  writeFileSync(join(pages, 'desk-1.js'), 'export {};');
  const faults: unknown[] = [];
  const desk = await openDesk({
    folder,
    pages,
    address: '127.0.0.1',
    port: 0,
    complain: (error) => faults.push(error),
    ...options,
  });
  return { desk, folder, faults, ask: (path, init) => fetch(`${desk.origin}${path}`, init) };
}

/** A trial workspace with the class vent. */
export async function makeWorkspace(): Promise<string> {
  const folder = join(mkdtempSync(join(tmpdir(), 'desk-')), 'ws');
  initWorkspace(folder, { vendorDomain: 'hollinridge.example', production: false });
  const workspace = await openWorkspace(folder);
  await addClass(workspace, { name: 'vent', model: 'VC-2', scheme: 'asymmetric' });
  mkdirSync(join(folder, 'units'), { recursive: true });
  return folder;
}

/** Enters by the one-time link; gives the headers of the session. */
export async function enter({ desk, ask }: Opened): Promise<Record<string, string>> {
  const entry = new URL(desk.entryLink()!).hash.slice(1);
  const answer = await ask('/api/v1/session/entry', {
    method: 'POST',
    headers: OWN,
    body: JSON.stringify({ entry }),
  });
  const cookie = answer.headers.get('set-cookie');
  if (answer.status !== 200 || !cookie) throw new Error(`not entered: ${answer.status}`);
  return { ...OWN, cookie: cookie.split(';')[0]! };
}

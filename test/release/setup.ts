import { createPrivateKey } from 'node:crypto';
import { cpSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, expect } from 'vitest';
import {
  createClassKey,
  createCohortKey,
  createRoot,
  createSigner,
  type NewSigner,
} from '../../src/authority/index.ts';
import { ImageError } from '../../src/image/index.ts';
import { KeyError } from '../../src/keys/index.ts';
import { SealError, type SealRequest } from '../../src/release/index.ts';
import {
  addClass,
  initWorkspace,
  keyPaths,
  listRecords,
  openWorkspace,
  readClass,
  readLedger,
  type Workspace,
  WorkspaceError,
  type WorkspacePorts,
} from '../../src/workspace/index.ts';
import { PASSPHRASE, secrets } from './secrets.ts';

export { secrets };

const nobody = { people: [], backups: [] };

let master = '';
let folders: string[] = [];

beforeAll(async () => {
  master = mkdtempSync(join(tmpdir(), 'fieldseal-release-master-'));
  const workspace = initWorkspace(join(master, 'ws'), { vendorDomain: 'hollinridge.example' });
  await addClass(workspace, { name: 'vent', model: 'VC-2', scheme: 'asymmetric' });
  await addClass(workspace, {
    name: 'twin',
    model: 'TW-1',
    scheme: 'asymmetric',
    shape: 'linked',
    core: 'none',
  });
  await addClass(workspace, { name: 'dosing', model: 'DC-1', scheme: 'symmetric', core: 'none' });
  await createRoot(
    workspace,
    { name: 'root', type: 'p256', place: filePlace(workspace, 'root'), ...nobody },
    secrets,
  );
  await makeSigner(workspace, 'line-1', {});
  const dosing = await readClass(workspace, 'dosing');
  const place = (name: string) => filePlace(workspace, name);
  await createClassKey(workspace, dosing, place, nobody, secrets);
  await createCohortKey(workspace, dosing, 'north', place, nobody, secrets);
});
afterEach(() => {
  for (const folder of folders) rmSync(folder, { recursive: true, force: true });
  folders = [];
});
afterAll(() => rmSync(master, { recursive: true, force: true }));

export function filePlace(workspace: Workspace, name: string) {
  return { custody: 'file', path: keyPaths(workspace, name).secret } as const;
}

/** Makes a signer for every class, or as told. */
export async function makeSigner(workspace: Workspace, name: string, more: Partial<NewSigner>) {
  const signer = {
    name,
    type: 'p256',
    place: filePlace(workspace, name),
    root: 'root',
    classes: [],
    vendorWide: (more.classes ?? []).length === 0,
    days: 825,
    generation: 1,
    ...nobody,
  } as const;
  const made = await createSigner(workspace, { ...signer, ...more }, secrets, { secrets });
  lighten(signer.place.path);
  return made;
}

// Node's own export protects with 2048 rounds instead of 600,000: these tests open the key at every seal.
export function lighten(path: string): void {
  const key = createPrivateKey({ key: readFileSync(path), passphrase: PASSPHRASE });
  const text = key.export({ type: 'pkcs8', format: 'pem', cipher: 'aes-256-cbc', passphrase: PASSPHRASE });
  writeFileSync(path, text);
}

/** A copy of the prepared workspace, and an image that a Cortex-M takes: stack pointer in RAM, reset vector in the slot. */
export async function prepared(
  ports: WorkspacePorts = {},
): Promise<{ folder: string; workspace: Workspace; image: string }> {
  const folder = mkdtempSync(join(tmpdir(), 'fieldseal-release-'));
  folders.push(folder);
  cpSync(join(master, 'ws'), join(folder, 'ws'), { recursive: true });
  const image = join(folder, 'vent.bin');
  writeFileSync(image, firmware(6000, 1));
  return { folder, workspace: await openWorkspace(join(folder, 'ws'), ports), image };
}

/** Invented firmware: a vector table at 0x08000000, then bytes that depend on the seed. */
export function firmware(size: number, seed: number): Buffer {
  const bytes = Buffer.alloc(size);
  for (let i = 0; i < size; i++) bytes[i] = (i * 31 + seed * 7 + (i >> 8)) & 0xff;
  bytes.writeUInt32LE(0x20010000, 0);
  bytes.writeUInt32LE(0x08000201, 4);
  return bytes;
}

/** An ordinary request; `more` overrides. */
export function request(
  at: { folder: string; workspace: Workspace; image: string },
  more: Partial<SealRequest> = {},
): SealRequest {
  return {
    workspace: at.workspace,
    className: 'vent',
    images: [{ path: at.image }],
    version: '1.4.0',
    out: join(at.folder, 'vent.suit'),
    secrets,
    ...more,
  };
}

/** The error that an action ends with. */
export async function failure(
  action: () => unknown,
): Promise<SealError | WorkspaceError | KeyError | ImageError> {
  try {
    await action();
  } catch (error) {
    const known = [SealError, WorkspaceError, KeyError, ImageError].some((kind) => error instanceof kind);
    if (known) return error as SealError;
    throw error;
  }
  throw new Error('expected a refusal, and nothing was thrown');
}

/** Changes a class file by one text. */
export function editClass(workspace: Workspace, name: string, from: string, to: string): void {
  const path = workspace.path('classes', `${name}.yaml`);
  const text = readFileSync(path, 'utf8');
  if (!text.includes(from)) throw new Error(`${name}.yaml does not hold ${from}`);
  writeFileSync(path, text.replace(from, to));
}

/** No payload, no part of one, and nothing on record. */
export function expectNothingSealed(at: { folder: string; workspace: Workspace }): void {
  expect(readdirSync(at.folder).filter((name) => name.includes('.suit'))).toEqual([]);
  expect(readLedger(at.workspace).filter(({ kind }) => kind === 'sealed')).toEqual([]);
  expect(listRecords(at.workspace, 'releases')).toEqual([]);
}

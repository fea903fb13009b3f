// A folder for one run of the bench: a trial workspace of Hollin Ridge (invented), and files to work on.
import { randomBytes } from 'node:crypto';
import {
  closeSync,
  fsyncSync,
  mkdtempSync,
  openSync,
  rmSync,
  statfsSync,
  truncateSync,
  writeSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { runCommand } from './rounds.mjs';

export const MIB = 1 << 20;
export const GIB = 1 << 30;
const SPACE_NEEDED = 4 * GIB;

/** The built command. */
export const FIELDSEAL = [process.execPath, resolve('dist/fieldseal.js')];

/** A trial workspace with one signer, and the folder it lies in. */
export class BenchFolder {
  constructor(path) {
    this.path = path;
    this.workspace = join(path, 'ws');
    // A trial passphrase, for keys that are thrown away with the folder.
    this.env = { ...process.env, FIELDSEAL_PASSPHRASE: 'trial only: greenhouse bench', NO_COLOR: '1' };
    this.signerKey = join(this.workspace, 'private/keys/line-1.pem');
    this.rootCertificate = join(this.workspace, 'certificates/root.pem');
  }

  file(name) {
    return join(this.path, name);
  }

  /** Runs fieldseal in the workspace; gives what it printed. */
  run(...args) {
    return runCommand([...FIELDSEAL, ...args], { cwd: this.workspace, env: this.env });
  }

  /** A file of random bytes, on the disk already, so that writing it out disturbs no measurement. */
  randomFile(name, size) {
    const path = this.file(name);
    const handle = openSync(path, 'w');
    const block = randomBytes(Math.min(size, 16 * MIB));
    for (let done = 0; done < size; done += block.length) writeSync(handle, block, 0, block.length);
    fsyncSync(handle);
    closeSync(handle);
    return path;
  }

  /** A file of zeros that takes no room on the disk. */
  emptyFile(name, size) {
    const path = this.file(name);
    closeSync(openSync(path, 'w'));
    truncateSync(path, size);
    return path;
  }

  remove(...names) {
    for (const name of names) rmSync(this.file(name), { force: true });
  }
}

/** Makes the folder, with its workspace, for as long as `use` runs. Throws where the disk has no room for it. */
export async function withBenchFolder(use) {
  const { bavail, bsize } = statfsSync(tmpdir());
  if (bavail * bsize < SPACE_NEEDED) {
    const has = (bavail * bsize) / GIB;
    throw new Error(
      `the bench needs 4 GiB in ${tmpdir()}, which has ${has.toFixed(1)}: name another folder with TMPDIR`,
    );
  }
  const folder = new BenchFolder(mkdtempSync(join(tmpdir(), 'fieldseal-bench-')));
  try {
    runCommand([...FIELDSEAL, 'init', folder.workspace, '--vendor-domain', 'hollinridge.example'], {
      env: folder.env,
    });
    folder.run(...'class add big --model BIG-1 --scheme asymmetric --core none --slot-size 2GiB'.split(' '));
    folder.run(...'class add vent --model VC-2 --scheme asymmetric --core none'.split(' '));
    folder.run('root', 'create');
    folder.run('signer', 'create', 'line-1');
    await use(folder);
  } finally {
    rmSync(folder.path, { recursive: true, force: true });
  }
}

import { createHash } from 'node:crypto';
import {
  closeSync,
  copyFileSync,
  mkdirSync,
  mkdtempSync,
  openSync,
  readFileSync,
  rmSync,
  writeSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { unguessable } from '../access/random.ts';
import type { Session } from '../access/sessions.ts';
import { DeskError } from '../error.ts';

/** A file that somebody at the desk is looking at. */
export interface Upload {
  readonly id: string;
  /** As its owner calls it. */
  readonly name: string;
  readonly path: string;
  readonly size: number;
  readonly sha256: string;
  readonly owner: string;
}

/** Bytes of one file, and files of one session; the oldest make room. */
const LARGEST = 256 * 2 ** 20;
const MOST_FILES = 16;

/** Files dropped at the desk: in a folder of this process alone, gone with the session or the process. */
export class Uploads {
  readonly #folder = mkdtempSync(join(tmpdir(), 'fieldseal-desk-'));
  readonly #kept = new Map<string, Upload>();
  readonly #largest: number;

  /** `largest`: bytes of one file. */
  constructor(largest = LARGEST) {
    this.#largest = largest;
  }

  /** Takes a file in, piece by piece. Throws `DeskError` too-large. */
  async take(session: Session, name: string, body: AsyncIterable<Uint8Array>): Promise<Upload> {
    const id = unguessable();
    const path = join(this.#folder, id, harmless(name));
    mkdirSync(dirname(path), { mode: 0o700 });
    const file = openSync(path, 'wx', 0o600);
    const hash = createHash('sha256');
    let size = 0;
    try {
      for await (const piece of body) {
        size += piece.length;
        if (size > this.#largest) throw tooLarge(this.#largest);
        hash.update(piece);
        writeWhole(file, piece);
      }
    } catch (error) {
      rmSync(dirname(path), { recursive: true, force: true });
      throw error;
    } finally {
      closeSync(file);
    }
    return this.#keep({ id, name, path, size, sha256: hash.digest('hex'), owner: session.id });
  }

  /** Takes a copy of a file that the desk itself made, so that its owner can fetch it and look inside. */
  adopt(session: Session, name: string, from: string): Upload {
    const id = unguessable();
    const path = join(this.#folder, id, harmless(name));
    mkdirSync(dirname(path), { mode: 0o700 });
    copyFileSync(from, path);
    const bytes = readFileSync(path);
    const sha256 = createHash('sha256').update(bytes).digest('hex');
    return this.#keep({ id, name, path, size: bytes.length, sha256, owner: session.id });
  }

  /** A file of this session. Throws `DeskError` not-there. */
  find(session: Session, id: string): Upload {
    const upload = this.#kept.get(id);
    if (upload?.owner === session.id) return upload;
    throw new DeskError('not-there', 'that file is no longer at the desk', 'drop it again');
  }

  /** A file of this session by its SHA-256, as addresses name it; undefined where it brought none such. */
  findByDigest(session: Session, sha256: string): Upload | undefined {
    return [...this.#kept.values()].find((each) => each.owner === session.id && each.sha256 === sha256);
  }

  /** Forgets what a session brought. */
  forget(session: Session): void {
    for (const upload of [...this.#kept.values()]) if (upload.owner === session.id) this.#drop(upload);
  }

  close(): void {
    rmSync(this.#folder, { recursive: true, force: true });
  }

  #keep(upload: Upload): Upload {
    const own = [...this.#kept.values()].filter(({ owner }) => owner === upload.owner);
    for (const old of own.slice(0, Math.max(0, own.length + 1 - MOST_FILES))) this.#drop(old);
    this.#kept.set(upload.id, upload);
    return upload;
  }

  #drop({ id, path }: Upload): void {
    this.#kept.delete(id);
    rmSync(dirname(path), { recursive: true, force: true });
  }
}

/** A name fit for a file, which records name as the source; nothing of a path is left of it. */
function harmless(name: string): string {
  const kept = name
    .replace(/[^A-Za-z0-9._-]/g, '_')
    .replace(/^\.+/, '')
    .slice(-100);
  return kept === '' ? 'file' : kept;
}

function writeWhole(file: number, bytes: Uint8Array): void {
  for (let done = 0; done < bytes.length; ) done += writeSync(file, bytes, done, bytes.length - done);
}

function tooLarge(largest: number): DeskError {
  return new DeskError(
    'too-large',
    `the file has more than ${largest} bytes, the most that the desk takes`,
    'use the command line, which reads files of any size',
  );
}

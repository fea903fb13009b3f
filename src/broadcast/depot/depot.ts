import { createHash } from 'node:crypto';
import { closeSync, existsSync, mkdirSync, openSync, readFileSync, readSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { CborError } from '../../cbor/index.ts';
import { CoseError, decodeCose } from '../../cose/index.ts';
import { fileSource, filesOn, holdAlone } from '../../workspace/index.ts';
import { type Announcement, readAnnouncement } from '../announcement/announcement.ts';
import { AnnouncementFault } from '../announcement/fault.ts';
import type { OfferedFile } from '../announcement/offered.ts';
import { BroadcastError } from '../error.ts';

const PIECE = 1 << 20;
const FILES = 'p';
const ANNOUNCEMENTS = 'a';

/**
 * A folder that units fetch from. Files lie under `p/` by the SHA-256 of what they hold and never change; announcements lie
 * under `a/` by class, and by key where they are MACed. Any web server can serve it as it is, and so can a stick that a
 * technician carries.
 */
export class Depot {
  readonly folder: string;

  constructor(folder: string) {
    this.folder = folder;
  }

  /** Puts a file in, once, and again where it is no longer what it was; gives what an announcement says of it. Throws `WorkspaceError`. */
  put(path: string): OfferedFile {
    const source = openSync(path, 'r');
    try {
      const { digest, size } = digestOf(source);
      const name = digest.toString('hex');
      const place = join(this.folder, FILES, name);
      // What lies there may have been damaged since.
      if (!existsSync(place) || digestAt(place) !== name) copyTo(source, place);
      return { digest: new Uint8Array(digest), size, uri: `${FILES}/${name}` };
    } finally {
      closeSync(source);
    }
  }

  /** Whether a file is here, as far as its size tells. */
  holds({ uri, size }: OfferedFile): boolean {
    return statSync(join(this.folder, uri), { throwIfNoEntry: false })?.size === size;
  }

  /** What changes with a file that is here: its size and times; undefined where it is not here. */
  mark({ uri }: OfferedFile): string | undefined {
    const stat = statSync(join(this.folder, uri), { bigint: true, throwIfNoEntry: false });
    return stat && [stat.ino, stat.size, stat.mtimeNs, stat.ctimeNs].join(' ');
  }

  /** SHA-256 of a file as it is here. Throws `WorkspaceError`. */
  async digest({ uri }: OfferedFile): Promise<Uint8Array> {
    const source = fileSource(join(this.folder, uri));
    try {
      return await source.sha256();
    } finally {
      source.close();
    }
  }

  /**
   * Puts an announcement in place of the one before. `name`: see `announcementName`. Throws `BroadcastError` overtaken where
   * that has a higher counter: who was held up does not undo what somebody announced meanwhile. Nobody else announces under that
   * name between the look and the change.
   */
  async announce(name: string, message: Uint8Array, counter: bigint): Promise<void> {
    const place = join(this.folder, ANNOUNCEMENTS, name);
    mkdirSync(join(this.folder, ANNOUNCEMENTS), { recursive: true });
    const letGo = await holdAlone(place, { briefly: true });
    try {
      const now = this.announced(name);
      if (now && now.announcement.counter > counter) throw overtaken(counter, now.announcement.counter);
      filesOn().replace(place, message);
    } finally {
      letGo();
    }
  }

  /** The announcement of that name; undefined where there is none, or nothing that can be read as one. Not judged. */
  announced(name: string): Announced | undefined {
    const place = join(this.folder, ANNOUNCEMENTS, name);
    if (!existsSync(place)) return undefined;
    const message = new Uint8Array(readFileSync(place));
    try {
      const { payload } = decodeCose(message, { requireTag: true });
      return payload ? { message, announcement: readAnnouncement(payload) } : undefined;
    } catch (error) {
      if (isUnreadable(error)) return undefined;
      throw error;
    }
  }
}

/** An announcement as it lies in a depot. */
export interface Announced {
  readonly message: Uint8Array;
  readonly announcement: Announcement;
}

function overtaken(counter: bigint, by: bigint): BroadcastError {
  return new BroadcastError(
    'overtaken',
    `announcement ${counter} was not put into the depot: announcement ${by} is there already, and units take no lower number after it`,
    'look at what is announced now; if it is of another workspace, use a depot of your own',
  );
}

function isUnreadable(error: unknown): boolean {
  return error instanceof CoseError || error instanceof CborError || error instanceof AnnouncementFault;
}

/** Name of an announcement in a depot: the class, and the key where it is MACed. */
export function announcementName(classId: string, keyId?: string): string {
  return keyId === undefined ? classId : `${classId}.${keyId}`;
}

function digestAt(place: string): string {
  const source = openSync(place, 'r');
  try {
    return digestOf(source).digest.toString('hex');
  } finally {
    closeSync(source);
  }
}

function digestOf(source: number): { digest: Buffer; size: number } {
  const hash = createHash('sha256');
  let size = 0;
  eachPiece(source, (piece) => {
    hash.update(piece);
    size += piece.length;
  });
  return { digest: hash.digest(), size };
}

function copyTo(source: number, place: string): void {
  filesOn().makeFolder(join(place, '..'));
  const output = filesOn().beginOutput(place, { force: true });
  try {
    eachPiece(source, (piece) => output.write(piece));
    output.commit();
  } finally {
    output.abandon();
  }
}

function eachPiece(source: number, use: (piece: Uint8Array) => void): void {
  const buffer = Buffer.alloc(PIECE);
  for (let at = 0; ; ) {
    const count = readSync(source, buffer, 0, PIECE, at);
    if (count === 0) return;
    use(buffer.subarray(0, count));
    at += count;
  }
}

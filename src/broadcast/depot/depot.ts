import { createHash } from 'node:crypto';
import { closeSync, existsSync, mkdirSync, openSync, readSync } from 'node:fs';
import { join } from 'node:path';
import { filesOn } from '../../workspace/index.ts';
import type { OfferedFile } from '../announcement/announcement.ts';

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

  /** Puts a file in, once; gives what an announcement says of it. Throws `WorkspaceError`. */
  put(path: string): OfferedFile {
    const source = openSync(path, 'r');
    try {
      const { digest, size } = digestOf(source);
      const name = digest.toString('hex');
      const place = join(this.folder, FILES, name);
      if (!existsSync(place)) copyTo(source, place);
      return { digest: new Uint8Array(digest), size, uri: `${FILES}/${name}` };
    } finally {
      closeSync(source);
    }
  }

  /** Puts an announcement in place of the one before. `name`: see `announcementName`. */
  announce(name: string, message: Uint8Array): void {
    mkdirSync(join(this.folder, ANNOUNCEMENTS), { recursive: true });
    filesOn().replace(join(this.folder, ANNOUNCEMENTS, name), message);
  }
}

/** Name of an announcement in a depot: the class, and the key where it is MACed. */
export function announcementName(classId: string, keyId?: string): string {
  return keyId === undefined ? classId : `${classId}.${keyId}`;
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
  mkdirSync(join(place, '..'), { recursive: true });
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

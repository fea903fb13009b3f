import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { createGunzip, gzipSync } from 'node:zlib';
import { filesOn } from '../../workspace/index.ts';
import { FleetError } from './error.ts';

const PIECE_CHARACTERS = 1 << 20;
const KINDS = ['head', 'broadcast', 'wave', 'left', 'unit', 'report', 'attestation', 'event'] as const;
/** What a line of a backup holds. */
export type LineKind = (typeof KINDS)[number];
export type Line = readonly [kind: LineKind, facts: Record<string, unknown>];

/**
 * Writes lines into a new file, gzipped: one JSON array a line, `[kind, facts]`, and last `["end", {lines, sha256}]` over all text
 * before it. Whole or absent. Gives the digest.
 */
export async function writeLines(path: string, lines: AsyncIterable<Line>): Promise<string> {
  const output = filesOn().beginOutput(path, { force: false, secret: true });
  const hash = createHash('sha256');
  let text = '';
  let count = 0;
  const flush = () => {
    hash.update(text);
    output.write(gzipSync(text));
    text = '';
  };
  try {
    for await (const line of lines) {
      text += `${JSON.stringify(line)}\n`;
      count += 1;
      if (text.length > PIECE_CHARACTERS) flush();
    }
    flush();
    const sha256 = hash.digest('hex');
    output.write(gzipSync(`${JSON.stringify(['end', { lines: count, sha256 }])}\n`));
    output.settle();
    output.commit();
    return sha256;
  } finally {
    output.abandon();
  }
}

/** Reads a backup to its end and gives its digest. Throws `FleetError` backup-damaged where it is none, or not whole. */
export async function verifyLines(path: string): Promise<string> {
  const hash = createHash('sha256');
  let count = 0;
  let end: { lines?: unknown; sha256?: unknown } | undefined;
  for await (const text of textLines(path)) {
    if (end) throw damaged(path, 'something follows its end');
    const [kind, facts] = parsed(path, text);
    if (kind === 'end') end = facts;
    else {
      hash.update(`${text}\n`);
      count += 1;
    }
  }
  const sha256 = hash.digest('hex');
  if (end?.lines === count && end.sha256 === sha256) return sha256;
  throw damaged(path, end ? 'it is not what was written' : 'it ends too early');
}

/** The lines of a backup that was verified. */
export async function* readLines(path: string): AsyncGenerator<Line> {
  for await (const text of textLines(path)) {
    const [kind, facts] = parsed(path, text);
    if (kind !== 'end') yield [kind as LineKind, facts];
  }
}

async function* textLines(path: string): AsyncGenerator<string> {
  const file = createReadStream(path);
  const text = file.pipe(createGunzip());
  file.on('error', (error) => text.destroy(error));
  let rest = '';
  try {
    for await (const piece of text.setEncoding('utf8')) {
      const lines = (rest + (piece as string)).split('\n');
      rest = lines.pop()!;
      yield* lines;
    }
  } catch (error) {
    throw error instanceof FleetError ? error : damaged(path, (error as Error).message, error);
  } finally {
    file.destroy();
  }
  if (rest !== '') throw damaged(path, 'it ends within a line');
}

function parsed(path: string, text: string): readonly [string, Record<string, unknown>] {
  let line: unknown;
  try {
    line = JSON.parse(text);
  } catch (error) {
    throw damaged(path, 'a line of it is no JSON', error);
  }
  const [kind, facts] = Array.isArray(line) ? (line as unknown[]) : [];
  if (typeof facts === 'object' && facts !== null && [...KINDS, 'end'].includes(kind as LineKind))
    return [kind as string, facts as Record<string, unknown>];
  throw damaged(path, 'a line of it is of no known kind');
}

export function damaged(path: string, what: string, cause?: unknown): FleetError {
  return new FleetError(
    'backup-damaged',
    `${path} is no whole backup of a fleet store (${what}); nothing was changed`,
    'use another backup',
    cause,
  );
}

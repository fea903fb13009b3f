import { type SpawnSyncReturns, spawnSync } from 'node:child_process';
import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { sourceOf } from '../../src/bytes/index.ts';
import { openEnvelope } from '../../src/suit/index.ts';

/** The built command. */
export const COMMAND = fileURLToPath(new URL('../../dist/fieldseal.js', import.meta.url));
export const PASSPHRASE = 'vents open at dawn';

/** What a run of the command gave. */
export interface Ran {
  readonly status: number | null;
  readonly stdout: string;
  readonly stderr: string;
  // biome-ignore lint/suspicious/noExplicitAny: documents of many shapes, read field by field
  readonly json: any;
}

/** A folder in which the real command runs as an outsider would run it. */
export class Bench {
  readonly folder = mkdtempSync(join(process.env.FIELDSEAL_E2E ?? tmpdir(), 'bench-'));
  environment: NodeJS.ProcessEnv = {
    PATH: process.env.PATH,
    HOME: this.folder,
    FIELDSEAL_PASSPHRASE: PASSPHRASE,
  };

  path(...parts: string[]): string {
    return join(this.folder, ...parts);
  }

  /** Runs `fieldseal` with the words of `line` (split at blanks) and `more`, in `cwd` below the folder. */
  run(line: string, options: { cwd?: string; more?: string[]; input?: string } = {}): Ran {
    const words = [...line.split(' ').filter((word) => word !== ''), ...(options.more ?? [])];
    const ran = spawnSync(process.execPath, [COMMAND, ...words], {
      cwd: join(this.folder, options.cwd ?? ''),
      env: this.environment,
      encoding: 'utf8',
      input: options.input ?? '',
      maxBuffer: 64 << 20,
    });
    return { status: ran.status, stdout: ran.stdout, stderr: ran.stderr, json: parsed(ran) };
  }

  /** As `run`, and throws with everything it printed unless it ends with `status`. */
  ok(line: string, options: Parameters<Bench['run']>[1] & { status?: number } = {}): Ran {
    const ran = this.run(line, options);
    if (ran.status === (options.status ?? 0)) return ran;
    throw new Error(`fieldseal ${line} ended with ${ran.status}\n${ran.stdout}\n${ran.stderr}`);
  }
}

/** Two people of a production workspace in `cwd`; their keys are in files, under a passphrase of their own. */
export function twoPeople(bench: Bench, cwd: string): void {
  bench.environment = { ...bench.environment, FIELDSEAL_APPROVER_PASSPHRASE: 'four eyes see more' };
  bench.ok('approver create ada', { cwd, more: ['--person', 'Ada Brook'] });
  bench.ok('approver create bela', { cwd, more: ['--person', 'Bela Marsh'] });
}

/** Ada asks for what `line` says, such as `app.bin --class vent --version 1.0.0`, and Bela approves it. Gives the request. */
export function askedAndApproved(bench: Bench, cwd: string, line: string): string {
  const { request } = bench.ok(`request make ${line} --requester ada --json`, { cwd }).json;
  bench.ok(`approve ${request} --approver bela`, { cwd });
  return request;
}

function parsed(ran: SpawnSyncReturns<string>): unknown {
  try {
    return JSON.parse(ran.stdout);
  } catch {
    return undefined;
  }
}

/**
 * Where the signature or MAC of an envelope ends, and where its manifest: the offset of the last byte of each. Looked for by a pattern
 * they would at times be found in a key or a certificate, whose bytes are random.
 */
export function lastBytes(envelope: Uint8Array): { seal: number; manifest: number } {
  const { blocks, manifestSpan } = openEnvelope(sourceOf(new Uint8Array(envelope)));
  return { seal: blocks[0]!.span.end - 1, manifest: manifestSpan.end - 1 };
}

/** Bytes of a Cortex-M image of `size` bytes: vector table for RAM at 0x20000000 and `address`, then `fill`. */
export function cortexImage(size: number, fill = 0x5a, address = 0x0800_0000): Buffer {
  const image = Buffer.alloc(size, fill);
  image.writeUInt32LE(0x2000_4000, 0);
  image.writeUInt32LE((address + 0x101) >>> 0, 4);
  return image;
}

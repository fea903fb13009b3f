import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fromHex, toHex } from '../../bytes/index.ts';
import { sha256 } from '../../crypto/index.ts';
import { type Files, filesOn } from '../../workspace/index.ts';
import { boundedBody } from './bounded-body.ts';
import { reasonOf } from './fetch.ts';

/** What became of a report. */
export type OutboxEvent =
  | { readonly event: 'reported'; readonly report: string }
  | { readonly event: 'report-refused'; readonly report: string; readonly code: string }
  | { readonly event: 'not-reported'; readonly says: string }
  | { readonly event: 'report-dropped'; readonly report: string };

/** What an outbox works with. */
export interface OutboxPorts {
  /** Where unsent reports lie; nobody else's. */
  readonly folder: string;
  /** Where they are sent. */
  readonly intake: URL;
  tell(event: OutboxEvent): void;
  /** Milliseconds on a clock that only rises. */
  now?(): number;
}

/** Answer of an intake about one report. */
export const REPORT_ANSWER = 'fieldseal.report-answer/1';

const FIRST_WAIT_MS = 2_000;
const LONGEST_WAIT_MS = 600_000;
const PATIENCE_MS = 30_000;
const LARGEST_ANSWER = 4_096;
/** A unit without a link keeps its newest reports only. */
const MOST_UNSENT = 256;

type Answer =
  | { readonly settled: true; readonly refusal: string | undefined }
  | { readonly settled: false; readonly says: string; readonly waitMs: number };

/**
 * Signed reports on their way home. Each lies durably in the folder before it counts as made, and goes away only once the
 * intake has named it by its SHA-256: any other answer, a stranger's "200 OK" too, leaves it there. Sent again it is the
 * same report. Oldest first, one at a time, later and later while nobody takes them.
 */
export class Outbox {
  readonly #ports: OutboxPorts;
  readonly #files: Files = filesOn();
  readonly #now: () => number;
  #tries = 0;
  #dueAt = 0;

  constructor(ports: OutboxPorts) {
    this.#ports = ports;
    this.#now = ports.now ?? (() => performance.now());
  }

  /** Keeps a report to be sent. `age`: that of the unit's marks, by which reports lie in order. Throws `WorkspaceError`. */
  put(age: number, report: Uint8Array): void {
    const { folder, tell } = this.#ports;
    this.#files.makeFolder(folder, { secret: true });
    const name = `${String(age).padStart(10, '0')}-${toHex(sha256(report))}.report`;
    this.#files.createNew(join(folder, name), report, { secret: true });
    const names = this.#unsent();
    for (const old of names.slice(0, Math.max(0, names.length - MOST_UNSENT))) {
      this.#files.remove(join(folder, old));
      tell({ event: 'report-dropped', report: idOf(old) });
    }
  }

  /** Milliseconds until a report is due; undefined where none is unsent. */
  dueIn(): number | undefined {
    return this.#unsent().length === 0 ? undefined : Math.max(0, this.#dueAt - this.#now());
  }

  /** Sends what is due. Does not throw where nobody takes it. */
  async send(): Promise<void> {
    if (this.#now() < this.#dueAt) return;
    const { folder, tell } = this.#ports;
    for (const name of this.#unsent()) {
      const report = idOf(name);
      const answer = await this.#post(readFileSync(join(folder, name)), report);
      if (!answer.settled) {
        tell({ event: 'not-reported', says: answer.says });
        this.#dueAt = this.#now() + this.#wait(answer.waitMs);
        return;
      }
      this.#files.remove(join(folder, name));
      if (answer.refusal === undefined) tell({ event: 'reported', report });
      else tell({ event: 'report-refused', report, code: answer.refusal });
      this.#tries = 0;
    }
  }

  /** Each time twice as long as before, and spread, so that units do not come back together. */
  #wait(least: number): number {
    const longest = Math.min(FIRST_WAIT_MS * 2 ** this.#tries, LONGEST_WAIT_MS);
    this.#tries = Math.min(this.#tries + 1, 16);
    return Math.max(least, Math.ceil(longest * (0.5 + Math.random() / 2)));
  }

  #unsent(): string[] {
    return this.#files.list(this.#ports.folder).filter((name) => name.endsWith('.report'));
  }

  async #post(report: Uint8Array, id: string): Promise<Answer> {
    const { intake } = this.#ports;
    try {
      const answer = await fetch(intake, {
        method: 'POST',
        headers: { 'content-type': 'application/cose' },
        body: report,
        redirect: 'error',
        signal: AbortSignal.timeout(PATIENCE_MS),
      });
      return judge(answer, await boundedBody(answer, LARGEST_ANSWER), id, intake);
    } catch (error) {
      return { settled: false, says: `${intake.origin}: ${reasonOf(error)}`, waitMs: 0 };
    }
  }
}

function judge(answer: Response, body: Uint8Array, id: string, intake: URL): Answer {
  const told = readAnswer(body);
  const waitMs = Math.min(Number(answer.headers.get('retry-after') ?? 0) * 1000 || 0, LONGEST_WAIT_MS);
  const says = `${intake.href} answered ${answer.status}${told?.says ? `: ${told.says}` : ''}`;
  if (told?.report !== id) return { settled: false, says, waitMs };
  if (answer.ok) return { settled: true, refusal: undefined };
  if (answer.status === 422) return { settled: true, refusal: String(told.code) };
  return { settled: false, says, waitMs };
}

function readAnswer(body: Uint8Array): Record<string, unknown> | undefined {
  try {
    const answer = JSON.parse(Buffer.from(body).toString()) as Record<string, unknown> | null;
    return answer?.format === REPORT_ANSWER ? answer : undefined;
  } catch {
    return undefined;
  }
}

function idOf(name: string): string {
  const id = name.slice(name.indexOf('-') + 1, -'.report'.length);
  return toHex(fromHex(id));
}

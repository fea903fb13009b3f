/** The server as the pages see it: JSON in, JSON out, and errors in the words that the server found. */

/** A mistake in a text that people write, and where it stands: line and column from 1. */
export interface Mistake {
  readonly line: number;
  readonly column: number;
  readonly field: string;
  readonly expected: string;
  readonly found: string;
  readonly says?: string;
  readonly example?: string;
}

interface Told {
  readonly code: string;
  readonly message: string;
  readonly hint: string | null;
  readonly field?: string;
  readonly mistakes?: readonly Mistake[];
}

/** What went wrong, and what to do next. */
export class Problem extends Error {
  readonly code: string;
  readonly hint: string | null;
  readonly status: number;
  /** The field of the request that it is about, where it is about one. */
  readonly field: string | undefined;
  readonly mistakes: readonly Mistake[];

  constructor(status: number, told: Told) {
    super(told.message);
    this.status = status;
    this.code = told.code;
    this.hint = told.hint;
    this.field = told.field;
    this.mistakes = told.mistakes ?? [];
  }
}

const BASE = '/api/v1';
const OWN = { 'x-fieldseal-desk': '1' };

/** Asks for a document. */
export function get<T>(path: string): Promise<T> {
  return ask<T>(path, { method: 'GET' });
}

/** Sends a document; gives the answer. */
export function post<T>(path: string, body: unknown): Promise<T> {
  const headers = { ...OWN, 'content-type': 'application/json' };
  return ask<T>(path, { method: 'POST', headers, body: JSON.stringify(body) });
}

/** Takes something away. */
export function remove<T>(path: string): Promise<T> {
  return ask<T>(path, { method: 'DELETE', headers: OWN });
}

/** A file that was brought to the desk. */
export interface DeskFile {
  readonly id: string;
  readonly name: string;
  readonly size_bytes: number;
  readonly sha256: string;
}

/** Brings a file to the desk. */
export function bring(file: Blob, name: string): Promise<DeskFile> {
  const headers = { ...OWN, 'content-type': 'application/octet-stream' };
  return ask<DeskFile>(`/files?name=${encodeURIComponent(name)}`, { method: 'POST', headers, body: file });
}

/** The bytes of a file at the desk. */
export async function bytesOf(id: string): Promise<Uint8Array> {
  const answer = await fetch(`${BASE}/files/${id}`);
  if (!answer.ok) throw await problemOf(answer);
  return new Uint8Array(await answer.arrayBuffer());
}

/** Follows a job to its end; gives its result. Watching ends with `signal`; the job goes on. */
export function follow<T>(
  job: string,
  tell: (doing: string, done: number, total: number) => void,
  signal?: AbortSignal,
): Promise<T> {
  return new Promise((resolve, reject) => {
    const events = new EventSource(`${BASE}/jobs/${job}`);
    const close = (end: () => void) => {
      events.close();
      end();
    };
    signal?.addEventListener('abort', () => events.close());
    // A browser that lost the connection asks again by itself; a refusal ends it.
    events.addEventListener('error', () => {
      if (events.readyState === EventSource.CLOSED) reject(jobGone());
    });
    events.addEventListener('progress', ({ data }) => {
      const { doing, done, total } = JSON.parse(data as string);
      tell(doing, done, total);
    });
    events.addEventListener('done', ({ data }) => close(() => resolve(JSON.parse(data as string).result)));
    events.addEventListener('failed', ({ data }) =>
      close(() => reject(new Problem(422, JSON.parse(data as string).error))),
    );
  });
}

/** Listens to events of one name until told to stop. `lost`: the connection is gone, and is tried again. */
export function listen<T>(
  path: string,
  event: string,
  { told, lost, refused }: { told(value: T): void; lost(): void; refused(problem: Problem): void },
): () => void {
  const events = new EventSource(`${BASE}${path}`);
  events.addEventListener(event, ({ data }) => told(JSON.parse(data as string)));
  events.addEventListener('error', () => {
    if (events.readyState !== EventSource.CLOSED) return lost();
    // The answer was no stream of events: asked as a document, it says why.
    ask(path, { method: 'GET' }).then(lost, refused);
  });
  return () => events.close();
}

function jobGone(): Problem {
  return new Problem(404, {
    code: 'not-there',
    message: 'this work is no longer at the desk',
    hint: 'It goes with the session and with "fieldseal serve": start it again.',
  });
}

async function ask<T>(path: string, init: RequestInit): Promise<T> {
  const answer = await fetch(`${BASE}${path}`, init).catch(() => {
    throw new Problem(0, {
      code: 'desk-gone',
      message: 'the desk does not answer',
      hint: 'Is "fieldseal serve" still running? Start it again and open the link it prints.',
    });
  });
  if (!answer.ok) throw await problemOf(answer);
  return (answer.status === 204 ? undefined : await answer.json()) as T;
}

async function problemOf(answer: Response): Promise<Problem> {
  const told = await answer.json().catch(() => undefined);
  const error = told?.error ?? {
    code: 'unreadable',
    message: `the desk answered ${answer.status}`,
    hint: null,
  };
  return new Problem(answer.status, error);
}

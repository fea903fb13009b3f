import { unguessable } from '../access/random.ts';
import type { Session } from '../access/sessions.ts';
import { DeskError } from '../error.ts';
import { type Explained, explain } from '../explain.ts';

/** Something to tell about a job: how far it is, or how it ended. */
export type JobEvent =
  | { readonly event: 'progress'; readonly doing: string; readonly done: number; readonly total: number }
  | { readonly event: 'done'; readonly result: unknown }
  | { readonly event: 'failed'; readonly error: Explained };

interface Job {
  readonly id: string;
  readonly owner: string;
  last: JobEvent;
  readonly listeners: Set<(event: JobEvent) => void>;
}

const MOST_JOBS = 32;

/** Long work: it goes on whether or not somebody watches, and whoever comes back finds how it stands. */
export class Jobs {
  readonly #jobs = new Map<string, Job>();
  readonly #complain: (error: unknown) => void;

  /** `complain` is told every error that ends a job. */
  constructor(complain: (error: unknown) => void) {
    this.#complain = complain;
  }

  /** Starts work; gives the job's id at once. */
  start(
    session: Session,
    work: (tell: (doing: string, done: number, total: number) => void) => Promise<unknown>,
  ): string {
    const job: Job = {
      id: unguessable(),
      owner: session.id,
      last: { event: 'progress', doing: 'starting', done: 0, total: 1 },
      listeners: new Set(),
    };
    if (this.#jobs.size >= MOST_JOBS) this.#jobs.delete(this.#jobs.keys().next().value!);
    this.#jobs.set(job.id, job);
    work((doing, done, total) => tell(job, { event: 'progress', doing, done, total })).then(
      (result) => tell(job, { event: 'done', result }),
      (error: unknown) => {
        this.#complain(error);
        tell(job, { event: 'failed', error: explain(error) });
      },
    );
    return job.id;
  }

  /** Tells how a job stands, and all that follows, until it has ended or the signal aborts. Throws `DeskError` not-there. */
  watch(session: Session, id: string): (signal: AbortSignal) => AsyncGenerator<JobEvent> {
    const job = this.#jobs.get(id);
    if (job?.owner !== session.id) throw new DeskError('not-there', 'there is no such job', 'start it again');
    return (signal) => follow(job, signal);
  }
}

async function* follow(job: Job, signal: AbortSignal): AsyncGenerator<JobEvent> {
  let wake = () => {};
  let latest: JobEvent | undefined = job.last;
  const listener = (event: JobEvent) => {
    latest = event;
    wake();
  };
  job.listeners.add(listener);
  signal.addEventListener('abort', () => wake(), { once: true });
  try {
    while (!signal.aborted) {
      const event: JobEvent | undefined = latest;
      latest = undefined;
      if (event) {
        yield event;
        if (event.event !== 'progress') return;
      } else await new Promise<void>((resolve) => (wake = resolve));
    }
  } finally {
    job.listeners.delete(listener);
  }
}

function tell(job: Job, event: JobEvent): void {
  job.last = event;
  for (const listener of job.listeners) listener(event);
}

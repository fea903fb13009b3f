import { userInfo } from 'node:os';
import { thumbprint, unguessable } from './random.ts';
import type { Role } from './roles.ts';

/** Somebody at the desk. */
export interface Session {
  /** Names the session where its secret must not stand, such as in maps of what belongs to it. */
  readonly id: string;
  readonly who: string;
  readonly role: Role;
  readonly begun: number;
  /** What is kept of the password or token that let them in; undefined for whoever entered by the link. */
  readonly proof?: string | undefined;
}

/** Who enters by the link: whoever runs the desk. */
export const THIS_MACHINE = 'this machine';

/** The person of a session, for records: the account, or whom the system knows. */
export function whoOf({ who }: Session): string {
  return who === THIS_MACHINE ? userInfo().username : who;
}

/** Milliseconds without a request until a session ends, and from its beginning whatever happens. */
const IDLE_LIMIT = 2 * 3_600_000;
const WHOLE_LIMIT = 12 * 3_600_000;
const MOST_SESSIONS = 64;

interface Kept extends Session {
  seen: number;
}

/** Who is at the desk. Only thumbprints of the session secrets are kept. `now` in milliseconds. */
export class Sessions {
  readonly #kept = new Map<string, Kept>();
  readonly #now: () => number;
  readonly #ended: (session: Session) => void;

  constructor(now: () => number, ended: (session: Session) => void) {
    this.#now = now;
    this.#ended = ended;
  }

  /** Begins a session; gives its secret, which goes into a cookie and nowhere else. */
  begin(who: string, role: Role, proof?: string): string {
    this.#sweep();
    if (this.#kept.size >= MOST_SESSIONS) this.#end(this.#kept.keys().next().value!);
    const secret = unguessable();
    const now = this.#now();
    this.#kept.set(thumbprint(secret), { id: unguessable(), who, role, proof, begun: now, seen: now });
    return secret;
  }

  /** The session of a secret, or undefined where there is none or it has ended. */
  find(secret: string): Session | undefined {
    this.#sweep();
    const kept = this.#kept.get(thumbprint(secret));
    if (kept) kept.seen = this.#now();
    return kept;
  }

  /** Whether a session has not ended; a page that only listens does not keep it alive. */
  lives({ id }: Session): boolean {
    this.#sweep();
    return [...this.#kept.values()].some((kept) => kept.id === id);
  }

  end(secret: string): void {
    this.#end(thumbprint(secret));
  }

  endAll(): void {
    for (const print of [...this.#kept.keys()]) this.#end(print);
  }

  #sweep(): void {
    const now = this.#now();
    for (const [print, { begun, seen }] of this.#kept)
      if (now - seen > IDLE_LIMIT || now - begun > WHOLE_LIMIT) this.#end(print);
  }

  #end(print: string): void {
    const kept = this.#kept.get(print);
    this.#kept.delete(print);
    if (kept) this.#ended(kept);
  }
}

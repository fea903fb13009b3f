import type { HttpBindings } from '@hono/node-server';
import type { Depot } from '../broadcast/index.ts';
import type { Workspace } from '../workspace/index.ts';
import type { Accounts } from './access/accounts.ts';
import type { Entry } from './access/entry.ts';
import type { RateLimit } from './access/rate.ts';
import type { Session, Sessions } from './access/sessions.ts';
import type { Fleet } from './held/fleet.ts';
import type { Jobs } from './held/jobs.ts';
import type { Plays } from './held/plays.ts';
import type { Unlocked } from './held/unlocked.ts';
import type { Uploads } from './held/uploads.ts';

/** What every route works with. */
export interface Desk {
  /** `http://127.0.0.1:8470`: what the pages' address begins with. */
  readonly origin: string;
  /** Values of the Host header that are answered. */
  readonly hosts: ReadonlySet<string>;
  readonly cookie: string;
  /** Listens beyond this machine: named accounts are needed, and the connection is encrypted. */
  readonly open: boolean;
  readonly sessions: Sessions;
  readonly entry: Entry;
  readonly accounts: Accounts;
  readonly requests: RateLimit;
  readonly attempts: RateLimit;
  readonly uploads: Uploads;
  readonly unlocked: Unlocked;
  readonly jobs: Jobs;
  readonly plays: Plays;
  readonly fleet: Fleet;
  /** Where broadcasts begun here put their files; undefined where whoever opened the desk named none. */
  readonly depot: Depot | undefined;
  /** The workspace as it is now. */
  workspace(): Promise<Workspace>;
}

/** What a handler finds in its context. */
export interface DeskEnv {
  Bindings: HttpBindings & { readonly desk: Desk };
  Variables: { session: Session };
}

import type { Desk } from '../context.ts';
import { type Account, proofOf } from './accounts.ts';
import type { Session } from './sessions.ts';

/** Milliseconds between two looks whether somebody is still here. */
const LOOK_MS = 1000;
/** How the identifiers of programs begin: a token has no session, it is as good as its account. */
const PROGRAM = 'token ';

/** What a program may do as long as its account stands. Two accounts of one name, one after the other, share nothing. */
export function programSession(account: Account): Session {
  const proof = proofOf(account);
  return { id: `${PROGRAM}${proof}`, who: account.name, role: account.role, begun: 0, proof };
}

/** Whether somebody may still be here: their session has not ended, and the account that let them in stands. */
export function isHere(
  { sessions, accounts }: Pick<Desk, 'sessions' | 'accounts'>,
  session: Session,
): boolean {
  const { id, who: name, role, proof } = session;
  const begun = id.startsWith(PROGRAM) || sessions.lives(session);
  return begun && (proof === undefined || accounts.stands({ name, role, proof }));
}

/** Does something that lasts, such as telling events; its signal aborts with `signal`, or when who asked is here no more. */
export async function whileHere<T>(
  desk: Pick<Desk, 'sessions' | 'accounts'>,
  session: Session,
  signal: AbortSignal,
  work: (signal: AbortSignal) => Promise<T>,
): Promise<T> {
  const gone = new AbortController();
  const look = setInterval(() => {
    if (!isHereForSure(desk, session)) gone.abort();
  }, LOOK_MS);
  try {
    return await work(AbortSignal.any([signal, gone.signal]));
  } finally {
    clearInterval(look);
  }
}

/** Accounts that cannot be read let nobody stay. */
function isHereForSure(desk: Pick<Desk, 'sessions' | 'accounts'>, session: Session): boolean {
  try {
    return isHere(desk, session);
  } catch {
    return false;
  }
}

import { fromUtf8 } from '../../bytes/index.ts';
import { KeyError, type SecretSource } from '../../keys/index.ts';
import type { Session } from '../access/sessions.ts';
import { requireMoreTries } from './typed.ts';

interface Held {
  readonly secret: Uint8Array;
  readonly until: number;
  readonly timer: NodeJS.Timeout;
}

/** Passphrases that somebody let the desk hold for a short while. Zeroed when the while is over. */
export class Unlocked {
  readonly #held = new Map<string, Held>();
  readonly #now: () => number;

  constructor(now: () => number) {
    this.#now = now;
  }

  hold(session: Session, passphrase: string, minutes: number): void {
    this.release(session);
    const milliseconds = minutes * 60_000;
    const timer = setTimeout(() => this.release(session), milliseconds);
    timer.unref();
    this.#held.set(session.id, { secret: fromUtf8(passphrase), until: this.#now() + milliseconds, timer });
  }

  /** When the passphrase is forgotten, in milliseconds; undefined where none is held. */
  until(session: Session): number | undefined {
    return this.#held.get(session.id)?.until;
  }

  release(session: Session): void {
    const held = this.#held.get(session.id);
    if (!held) return;
    clearTimeout(held.timer);
    held.secret.fill(0);
    this.#held.delete(session.id);
  }

  releaseAll(): void {
    for (const id of [...this.#held.keys()]) this.release({ id } as Session);
  }

  /** Where the keys of a request get their passphrase and PIN from: the request itself, or what is held. */
  secretsFor(
    session: Session,
    given: { passphrase?: string | undefined; pin?: string | undefined },
  ): SecretSource {
    return {
      passphrase: async ({ keyName, purpose }) => {
        // Neither a root nor a person's key is ever opened by what was typed for something else.
        const held = purpose !== 'working' ? undefined : this.#held.get(session.id)?.secret;
        const secret = given.passphrase ? fromUtf8(given.passphrase) : held && new Uint8Array(held);
        if (secret && secret.length > 0) return secret;
        throw new KeyError(
          'passphrase-missing',
          `The key ${keyName} needs its passphrase.`,
          'Type it and try again.',
        );
      },
      pin: async ({ token, lastTry }) => {
        requireMoreTries(token, lastTry);
        if (given.pin) return fromUtf8(given.pin);
        throw new KeyError('pin-missing', `The token ${token} needs its PIN.`, 'Type it and try again.');
      },
    };
  }
}

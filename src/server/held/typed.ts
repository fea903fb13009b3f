import { fromUtf8 } from '../../bytes/index.ts';
import { KeyError, type KeyPlace, requireStrength, type SecretSource } from '../../keys/index.ts';
import { keyPaths, type Workspace } from '../../workspace/index.ts';

/** What opens a root. */
export interface GivenRoot {
  readonly passphrase?: string | undefined;
  readonly pin?: string | undefined;
}

/** A key that is to be made, as it was asked for. */
export interface GivenKey {
  readonly name: string;
  readonly key:
    | { readonly custody: 'file'; readonly passphrase: string }
    | { readonly custody: 'token'; readonly uri: string; readonly pin: string };
  readonly people: readonly string[];
  readonly backups: readonly string[];
}

/** What was typed for one act: it opens the root of this act and protects the key of this act, and is kept nowhere. */
export class Typed {
  readonly make: GivenKey | undefined;
  readonly #root: GivenRoot;
  /** Whose secret was asked for last: where a refusal belongs. */
  asked: 'root' | 'make.key' | undefined;

  constructor(root: GivenRoot, make: GivenKey | undefined) {
    this.#root = root;
    this.make = make;
  }

  /** Opens the root. */
  root(): SecretSource {
    return {
      passphrase: async ({ keyName }) => {
        this.asked = 'root';
        return this.#given(
          this.#root.passphrase,
          'passphrase-missing',
          `The root ${keyName} needs its passphrase`,
        );
      },
      pin: async ({ token, lastTry }) => {
        this.asked = 'root';
        requireMoreTries(token, lastTry);
        return this.#given(this.#root.pin, 'pin-missing', `The token ${token} needs its PIN`);
      },
    };
  }

  /** Protects the key that is made. */
  key({ kind }: Workspace): SecretSource {
    const key = this.make?.key;
    return {
      passphrase: async (request) => {
        this.asked = 'make.key';
        const typed = key?.custody === 'file' ? key.passphrase : undefined;
        const says = `The key ${request.keyName} needs a passphrase`;
        const secret = this.#given(typed, 'passphrase-missing', says);
        return requireStrength(secret, request, kind === 'production');
      },
      pin: async ({ token, lastTry }) => {
        this.asked = 'make.key';
        requireMoreTries(token, lastTry);
        const typed = key?.custody === 'token' ? key.pin : undefined;
        return this.#given(typed, 'pin-missing', `The token ${token} needs its PIN`);
      },
    };
  }

  /** Where a key called `name` is to live. */
  place(workspace: Workspace, name: string): KeyPlace {
    const key = this.make?.key;
    return key?.custody === 'token'
      ? { custody: 'token', uri: key.uri }
      : { custody: 'file', path: keyPaths(workspace, name).secret };
  }

  /** Who was there, and where backups lie, for the ceremony record. */
  attendance(who: string): { readonly people: readonly string[]; readonly backups: readonly string[] } {
    const { people = [], backups = [] } = this.make ?? {};
    return { people: [...new Set([who, ...people])], backups };
  }

  #given(typed: string | undefined, code: 'passphrase-missing' | 'pin-missing', says: string): Uint8Array {
    if (typed) return fromUtf8(typed);
    throw new KeyError(code, `${says}.`, 'Type it and try again.');
  }
}

/** A token that one more wrong PIN would lock is for a person at the token. Throws `KeyError` pin-last-try. */
export function requireMoreTries(token: string, lastTry: boolean): void {
  if (!lastTry) return;
  throw new KeyError(
    'pin-last-try',
    `One more wrong PIN locks the token ${token}.`,
    'Use the command line at the machine that holds the token.',
  );
}

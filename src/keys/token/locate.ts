/** Finding a key in a token, and a free place for a new one. */
import type { Handle } from 'pkcs11js';
import { randomBytes } from '../../crypto/index.ts';
import { KeyError } from '../error.ts';
import { TRIAL_MARK } from '../pkcs8.ts';
import type { Attributes, TokenSession } from './session.ts';
import type { TokenUri } from './uri.ts';

/** A place for a new key: label and identifier. */
export interface NewPlace {
  readonly uri: TokenUri;
  readonly label: string;
  readonly id: Uint8Array;
}

const ID_LENGTH = 16;

/**
 * Place of a new key: the URI's object label, or the key's name, with the trial mark in it where it is a
 * trial key, so that the mark stays with the key in the token. Throws `KeyError` token-key-exists where the
 * label is taken.
 */
export function newPlace(session: TokenSession, uri: TokenUri, name: string, trial: boolean): NewPlace {
  const wanted = uri.object ?? name;
  const label = trial && !wanted.includes(TRIAL_MARK) ? `${wanted} (${TRIAL_MARK})` : wanted;
  const id = uri.id ?? randomBytes(ID_LENGTH);
  const taken = session.find({ CKA_LABEL: label }).length > 0 || session.find({ CKA_ID: id }).length > 0;
  if (taken) {
    throw new KeyError(
      'token-key-exists',
      `The token ${session.label} has an object with the label "${label}", or this identifier, already.`,
      'Choose another name, or ;object=NAME in the pkcs11: URI. Nothing was made.',
    );
  }
  return { uri: { ...uri, object: label, id }, label, id };
}

/**
 * The one object of this class that a URI names. Throws `KeyError` token-key-absent, token-key-ambiguous,
 * token-uri.
 */
export function locate(session: TokenSession, uri: TokenUri, kind: Attributes): Handle {
  if (!uri.object && !uri.id) {
    throw new KeyError(
      'token-uri',
      'The pkcs11: URI names a token but no key in it.',
      'Add ;object=LABEL or ;id=%01%02... (RFC 7512).',
    );
  }
  const found = session.find({
    ...kind,
    ...(uri.object && { CKA_LABEL: uri.object }),
    ...(uri.id && { CKA_ID: uri.id }),
  });
  if (found.length === 1) return found[0]!;
  const what = uri.object ? `"${uri.object}"` : 'with this identifier';
  if (found.length === 0) {
    throw new KeyError(
      'token-key-absent',
      `The token ${session.label} holds no key ${what} of the kind that is needed.`,
      'Check that this is the right token, and that the key was not removed.',
    );
  }
  throw new KeyError(
    'token-key-ambiguous',
    `The token ${session.label} holds ${found.length} keys ${what}.`,
    'Add ;id=... to the pkcs11: URI, so that it names one key.',
  );
}

/** Finds a key once, and again after the session was renewed. */
export function tracked(session: TokenSession, find: () => Handle): () => Handle {
  let known: { handle: Handle; generation: number } | undefined;
  return () => {
    if (known?.generation !== session.generation) {
      known = { handle: find(), generation: session.generation };
    }
    return known.handle;
  };
}

/** What tokens answer, in plain words. One row per answer that a user can do something about. */
import { KeyError, type KeyErrorCode } from '../error.ts';
import { answerOf } from './module.ts';

interface Explanation {
  readonly code: KeyErrorCode;
  readonly says: string;
  readonly next: string;
}

const WRONG_PIN: Explanation = {
  code: 'pin-wrong',
  says: 'refused the PIN. Tokens lock after a few wrong tries, and some count across restarts',
  next: 'Do not guess: look the PIN up. A right PIN resets the count.',
};
const GONE: Explanation = {
  code: 'token-absent',
  says: 'is not there any more',
  next: 'Plug it in, wait until its light is steady, and run the command again.',
};

// PKCS#11 v3.2 section 5.1 (return values).
const ANSWERS: Readonly<Record<string, Explanation>> = {
  CKR_PIN_INCORRECT: WRONG_PIN,
  CKR_PIN_INVALID: WRONG_PIN,
  CKR_PIN_LEN_RANGE: WRONG_PIN,
  CKR_PIN_LOCKED: {
    code: 'pin-locked',
    says: 'is locked after too many wrong PINs',
    next: 'Its security officer can set a new PIN; without that PIN the key cannot be used again.',
  },
  CKR_PIN_EXPIRED: {
    code: 'pin-locked',
    says: 'wants its PIN changed before it is used',
    next: "Set a new PIN with the token maker's tool.",
  },
  CKR_USER_PIN_NOT_INITIALIZED: {
    code: 'pin-missing',
    says: 'has no user PIN yet',
    next: "Have its security officer set one with the token maker's tool.",
  },
  CKR_USER_ANOTHER_ALREADY_LOGGED_IN: {
    code: 'token-failed',
    says: 'serves its user now, and its security officer only when every session of the user is closed',
    next: 'Close the keys that are open in this token, then try again.',
  },
  CKR_TOKEN_NOT_PRESENT: GONE,
  CKR_DEVICE_REMOVED: GONE,
  CKR_SLOT_ID_INVALID: GONE,
  CKR_SESSION_HANDLE_INVALID: GONE,
  CKR_TOKEN_WRITE_PROTECTED: {
    code: 'token-write-protected',
    says: 'is write-protected',
    next: 'Lift its write protection; making a key stores it in the token.',
  },
  CKR_DEVICE_MEMORY: {
    code: 'token-write-protected',
    says: 'has no room for another key',
    next: 'Remove keys that are retired, or use another token.',
  },
  CKR_MECHANISM_INVALID: {
    code: 'token-mechanism',
    says: 'does not know this algorithm',
    next: 'Use an algorithm the token has (p256 is the most common; few know CKM_HSS), or another token.',
  },
  CKR_KEY_EXHAUSTED: {
    code: 'token-key-used-up',
    says: 'has used every one-time leaf of this key; it can never make another signature',
    next: 'Make another signer.',
  },
  CKR_KEY_NOT_WRAPPABLE: {
    code: 'wrap-untrusted',
    says: 'lets this key out only under a wrapping key that its security officer marked as trusted',
    next: "Make the station's wrapping key in this token as trusted (this asks for the security officer's PIN).",
  },
  CKR_KEY_UNEXTRACTABLE: {
    code: 'wrap-untrusted',
    says: 'never lets this key out, wrapped or not',
    next: 'Make a class key with this program, which keeps it wrappable.',
  },
};

/** The failure of a token as a `KeyError`. Errors that carry no answer of PKCS#11 come back as they are. */
export function tokenFailure(error: unknown, token: string): unknown {
  const answer = answerOf(error);
  if (!answer) return error;
  const known = ANSWERS[answer];
  if (known) return new KeyError(known.code, `The token ${token} ${known.says} (${answer}).`, known.next);
  return new KeyError(
    'token-failed',
    `The token ${token} could not do it (${answer}).`,
    "Look this answer up in the manual of the token's maker; unplugging and plugging in again may help.",
  );
}

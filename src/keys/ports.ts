/** What callers hand in and get back, whatever custody a key is in. */
import type { MacKey, Signer } from '../cose/index.ts';
import type { KeyDescription, KeyNaming } from './description.ts';
import type { KeyEvidence } from './evidence.ts';
import type { SecretSource } from './secrets.ts';

/**
 * Where a new key is to live. `path`: the file to make. `uri`: a pkcs11: URI that names the token, and may
 * name the object.
 */
export type KeyPlace =
  | { readonly custody: 'file'; readonly path: string }
  | { readonly custody: 'token'; readonly uri: string; readonly module?: string | undefined };

/** A key to be made. */
export interface NewKey extends KeyNaming {
  readonly place: KeyPlace;
}

/** A key just made: its description for git, the key, and what was observed for the ceremony record. */
export interface MadeKey<K> {
  readonly description: KeyDescription;
  readonly key: K;
  readonly evidence: KeyEvidence;
}

/** A signer that holds something open. `close` ends a token's session; signing afterwards fails. */
export interface CustodySigner extends Signer {
  close(): void;
}

/** A MAC key that holds something open. */
export interface CustodyMacKey extends MacKey {
  close(): void;
}

/**
 * Port: gives out the one-time leaves of an HSS/LMS key, counted over the whole key from 0, each once for ever. A leaf is
 * durably spent before `take` returns. Throws where that cannot be vouched for, or none is left.
 */
export interface LeafSource {
  take(): bigint;
}

/** Called while the trees of an HSS/LMS key are made: leaves done, leaves of this tree in all. */
export type KeyProgress = (done: number, total: number) => void;

/** How to reach a key that was made before. `file`: where file custody keeps it. */
export interface KeyAccess {
  readonly file: string;
  readonly secrets: SecretSource;
  /** In a production workspace trial keys and published example keys are refused. */
  readonly production: boolean;
  /** PKCS#11 module; default the variable FIELDSEAL_PKCS11_MODULE. */
  readonly module?: string | undefined;
  /** For an HSS/LMS key in a file, which has no leaf counter of its own. */
  readonly leaves?: LeafSource | undefined;
  readonly progress?: KeyProgress | undefined;
}

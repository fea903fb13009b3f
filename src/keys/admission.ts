/**
 * Which keys a workspace takes: no trial keys in production, and never the keys that standards print as
 * examples.
 */
import { toHex } from '../bytes/index.ts';
import { isPublishedExampleKey } from '../x509/index.ts';
import { KeyError } from './error.ts';
import { checkValue } from './fingerprint.ts';

// Symmetric example keys of draft-ietf-suit-firmware-encryption sections 6.1.2 and 9: ASCII "a" throughout.
const EXAMPLE_SECRETS = new Set(
  [16, 32].map((length) => toHex(checkValue(new Uint8Array(length).fill(0x61)))),
);

/** What is known of a key when it is opened: its mark, and its public half or check value. */
export interface KeyIdentity {
  readonly name: string;
  readonly trial: boolean;
  readonly spki?: Uint8Array;
  readonly checkValue?: Uint8Array;
}

/**
 * Refuses keys that must not be used in a production workspace. Throws `KeyError` key-trial for a key made in
 * a trial workspace, key-published for an example key of a standard, whose private half is known to
 * everybody.
 */
export function requireProductionKey(key: KeyIdentity): void {
  if (key.trial) {
    throw new KeyError(
      'key-trial',
      `The key ${key.name} was made in a trial workspace; a production workspace does not use it.`,
      'Make the key anew in the production workspace, with the custody that production asks for.',
    );
  }
  if (isPublished(key)) {
    throw new KeyError(
      'key-published',
      `The key ${key.name} is printed in a standard as an example; anybody can seal with it.`,
      'Make a key of your own. Units that hold this key must be provisioned anew.',
    );
  }
}

function isPublished({ spki, checkValue: check }: KeyIdentity): boolean {
  if (spki) return isPublishedExampleKey(spki);
  return check !== undefined && EXAMPLE_SECRETS.has(toHex(check));
}

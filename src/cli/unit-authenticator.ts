import type { MacKey, Signer } from '../cose/index.ts';
import { type AuthenticatedPurpose, unitAuthenticator } from '../virtual/index.ts';
import { CommandFailure, EXIT, wrongUse } from './exit.ts';
import { secretsFor } from './session.ts';
import type { Call } from './spec.ts';
import type { UnitSession } from './unit-session.ts';

/** The key with which a unit signs, or with `mac` MACs, what it sends. Throws `CommandFailure`, `KeyError`. */
export async function authenticatorOf(
  call: Call,
  session: UnitSession,
  purpose: AuthenticatedPurpose,
  mac: boolean,
): Promise<Signer | MacKey> {
  const found = await unitAuthenticator(session, purpose, {
    mac,
    secretsFor: (production) => secretsFor(call, production),
  });
  if (found) return found;
  if (mac) throw wrongUse('--mac: this unit shares no key with its class', 'leave --mac out: it signs');
  throw new CommandFailure(
    EXIT.notDone,
    'key-missing',
    `this unit has neither a key of its own for this (${purpose}) nor one that it shares with its class: nobody could tell what it says from a forgery`,
    `provision a unit with a key for the purpose ${purpose}`,
  );
}

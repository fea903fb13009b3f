import { fromHex } from '../bytes/index.ts';
import type { MacKey, Signer } from '../cose/index.ts';
import { openUnitSigner, softwareMacKey, unitSigner } from '../keys/index.ts';
import { deviceOf, narrowestClass, unitMacKey } from '../report/index.ts';
import { parseUuid } from '../suit/index.ts';
import type { UnitSecret } from '../unit/index.ts';
import { CommandFailure, EXIT, wrongUse } from './exit.ts';
import { secretsFor } from './session.ts';
import type { Call } from './spec.ts';
import type { UnitSession } from './unit-session.ts';

/** What a unit authenticates; each has a key of its own, and a label of its own for the key that a class key gives. */
const LABELS = { report: 'unit-report-key', attestation: 'unit-attestation-key' } as const;

/** The key with which a unit signs, or with `mac` MACs, what it sends. Throws `CommandFailure`, `KeyError`. */
export function authenticatorOf(
  call: Call,
  session: UnitSession,
  purpose: keyof typeof LABELS,
  mac: boolean,
): Promise<Signer | MacKey> {
  const { record } = session.file;
  const key = record.unit_keys.find((each) => each.purpose === purpose);
  const [shared] = session.macKeys.values();
  if (mac && !shared) {
    throw wrongUse('--mac: this unit shares no key with its class', 'leave --mac out: it signs');
  }
  if (key && !mac) return signerOf(call, session, purpose, key.secret);
  if (shared) {
    const classId = parseUuid(narrowestClass(record));
    return Promise.resolve(softwareMacKey(unitMacKey(LABELS[purpose], shared, classId, deviceOf(record))));
  }
  throw new CommandFailure(
    EXIT.notDone,
    'key-missing',
    `this unit has neither a key of its own for this (${purpose}) nor one that it shares with its class: nobody could tell what it says from a forgery`,
    `provision a unit with a key for the purpose ${purpose}`,
  );
}

async function signerOf(
  call: Call,
  { file }: UnitSession,
  purpose: string,
  secret: UnitSecret,
): Promise<Signer> {
  if ('trial_hex' in secret) return unitSigner(fromHex(secret.trial_hex));
  return openUnitSigner(secret.pem, `unit ${purpose} key`, secretsFor(call, !file.record.trial));
}

import { fromHex } from '../bytes/index.ts';
import type { MacKey, Signer } from '../cose/index.ts';
import { openUnitSigner, type SecretSource, softwareMacKey, unitSigner } from '../keys/index.ts';
import { deviceOf, narrowestClass, unitMacKey } from '../report/index.ts';
import { parseUuid } from '../suit/index.ts';
import type { UnitSecret } from '../unit/index.ts';
import type { PoweredUnit } from './power-up.ts';

/** What a unit authenticates; each has a key of its own, and a label of its own for the key that a class key gives. */
const LABELS = { report: 'unit-report-key', attestation: 'unit-attestation-key' } as const;
export type AuthenticatedPurpose = keyof typeof LABELS;

/**
 * The key with which a unit signs what it sends; with `mac`, or where it has none, the key made from the one it shares with
 * its class. Undefined where it has neither. Throws `KeyError`.
 */
export async function unitAuthenticator(
  { file: { record }, macKeys }: PoweredUnit,
  purpose: AuthenticatedPurpose,
  { mac, secretsFor }: { readonly mac: boolean; secretsFor(production: boolean): SecretSource },
): Promise<Signer | MacKey | undefined> {
  const key = record.unit_keys.find((each) => each.purpose === purpose);
  if (key && !mac) return signerOf(key.secret, purpose, () => secretsFor(!record.trial));
  const [shared] = macKeys.values();
  if (!shared) return undefined;
  const classId = parseUuid(narrowestClass(record));
  return softwareMacKey(unitMacKey(LABELS[purpose], shared, classId, deviceOf(record)));
}

async function signerOf(secret: UnitSecret, purpose: string, secrets: () => SecretSource): Promise<Signer> {
  if ('trial_hex' in secret) return unitSigner(fromHex(secret.trial_hex));
  return openUnitSigner(secret.pem, `unit ${purpose} key`, secrets());
}

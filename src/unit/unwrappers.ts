import { fromHex } from '../bytes/index.ts';
import {
  type AgreementAlgorithm,
  type CoseRecipient,
  type KeyUnwrapper,
  keyDistribution,
  LABEL,
  privateKeyUnwrapper,
  type WrapAlgorithm,
  wrappingKeyUnwrapper,
} from '../cose/index.ts';
import { readAgreementPrivateKey, sha256 } from '../crypto/index.ts';
import { unitProfile } from './profiles.ts';
import type { UnitRecord } from './record.ts';

/** Bytes of the key id by which a recipient names a unit's decryption key. */
export const DECRYPTION_KEY_ID_LENGTH = 8;

/** What a unit holds to open content keys with, taken out of its record. */
export interface ContentSecrets {
  /** Key-encryption keys by key id in lower-case hexadecimal. */
  readonly contentKeys: ReadonlyMap<string, Uint8Array>;
  /** The unit's own private key: DER PrivateKeyInfo (RFC 5958). */
  readonly decryptionKey?: Uint8Array | undefined;
}

/** Whether content keys reach a unit by its own key pair, under its profile. */
export function usesOwnKey({ profile }: UnitRecord): boolean {
  return keyDistribution(unitProfile(profile)!.keyDistribution)!.kind === 'agreement';
}

/**
 * What opens the content keys that are sent to a unit: only by the key distribution of its profile, and by the key wrap
 * that is part of it (docs/deployment-profile.md). A key of another length is left out. The private key is read when it is
 * first used, which takes time that most updates need not spend; `unwrap` throws `TypeError` where it is none.
 */
export function unwrappersOf(record: UnitRecord, secrets: ContentSecrets): KeyUnwrapper[] {
  const distribution = keyDistribution(unitProfile(record.profile)!.keyDistribution) as
    | AgreementAlgorithm
    | WrapAlgorithm;
  const wrap = distribution.kind === 'agreement' ? distribution.wrap : distribution;
  const unwrappers = [...secrets.contentKeys]
    .filter(([, kek]) => kek.length === wrap.kekLength)
    .map(([id, kek]) => wrappingKeyUnwrapper(kek, fromHex(id)));
  const own = record.unit_keys.find(({ purpose }) => purpose === 'decryption');
  if (distribution.kind !== 'agreement' || !own || !secrets.decryptionKey) return unwrappers;
  const unwrapper = whenUsed(secrets.decryptionKey, decryptionKeyId(fromHex(own.spki)));
  return [onlyFor(distribution, unwrapper), ...unwrappers];
}

function whenUsed(decryptionKey: Uint8Array, keyId: Uint8Array): KeyUnwrapper {
  let unwrapper: KeyUnwrapper | undefined;
  return {
    unwrap(recipient, context) {
      unwrapper ??= privateKeyUnwrapper(readAgreementPrivateKey(decryptionKey), keyId);
      return unwrapper.unwrap(recipient, context);
    },
  };
}

/** The key id of a unit's decryption key: the first 8 bytes of SHA-256 over its DER SubjectPublicKeyInfo. */
export function decryptionKeyId(spki: Uint8Array): Uint8Array {
  return sha256(spki).slice(0, DECRYPTION_KEY_ID_LENGTH);
}

function onlyFor({ id }: AgreementAlgorithm, unwrapper: KeyUnwrapper): KeyUnwrapper {
  return {
    unwrap: (recipient, context) =>
      algorithmIs(recipient, id) ? unwrapper.unwrap(recipient, context) : undefined,
  };
}

function algorithmIs({ headers }: CoseRecipient, id: number): boolean {
  const alg = headers.get(LABEL.alg);
  return alg?.type === 'nint' && alg.value === id;
}

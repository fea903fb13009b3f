/**
 * The stand-in unit: the record of the unit that is rehearsed, with keys of a throwaway authority in place of the real ones and
 * nothing else changed. What only a holder of a signing key could make is made by that authority and offered to this unit.
 */
import { fromHex, toHex } from '../../bytes/index.ts';
import {
  contentAlgorithm,
  heldWrappingKey,
  keyDistribution,
  publicKeyRecipient,
  type Recipient,
} from '../../cose/index.ts';
import { generateAgreementKey, randomBytes, readAgreementKey } from '../../crypto/index.ts';
import {
  decryptionKeyId,
  type SignerFacts,
  type SignerRight,
  UNIT_PROFILES,
  type UnitKey,
  type UnitParts,
  type UnitProfile,
  type UnitRecord,
  unwrappersOf,
  type Verdict,
} from '../../unit/index.ts';
import { fingerprint, parseName } from '../../x509/index.ts';
import type { ImageCipher } from './images.ts';
import type { Sealers } from './seals.ts';
import { type Hand, type SignerLikeness, Throwaway } from './throwaway.ts';

/** The stand-in, and who may seal for it. */
export interface StandIn {
  readonly parts: Pick<UnitParts, 'record' | 'macKeys' | 'unwrappers' | 'marksKey'>;
  readonly authority: Throwaway;
  readonly sealers: Sealers;
  /** How images and messages reach it encrypted; undefined where it holds no key for that. */
  readonly cipher: ImageCipher | undefined;
  /** Bytes of a key that content keys are wrapped under. */
  readonly kekLength: number;
  /** What of the record was swapped, in words. */
  readonly swapped: readonly string[];
}

const SECRET = { pem: 'in memory for one rehearsal' };

/** Makes the stand-in of a unit, with signers like those who vouch for the payload. */
export async function makeStandIn(record: UnitRecord, facts: Verdict['facts'], now: Date): Promise<StandIn> {
  const roots = record.anchors.map(({ label, name }) => ({ label, name: parseName(fromHex(name)) }));
  const authority = await Throwaway.make(roots, now, record.trial);
  const likenesses = likenessesOf(facts);
  const hands: Hand[] = [];
  for (const likeness of likenesses) hands.push(await authority.hand(likeness, {}, true));
  const macKeys = record.mac_keys.map(({ id }) => ({ id: fromHex(id), key: randomBytes(32) }));
  const keys = contentKeysFor(record);
  const swappedRecord: UnitRecord = {
    ...record,
    anchors: record.anchors.map((anchor) => ({ ...anchor, ...anchorOf(authority, anchor.label) })),
    mac_keys: record.mac_keys.map((key) => ({ ...key, secret: SECRET })),
    unit_keys: keys.unitKeys,
    ...(record.rights && { rights: rightsFor(record.rights, facts, hands) }),
  };
  return {
    parts: {
      record: swappedRecord,
      macKeys: new Map(macKeys.map(({ id, key }) => [toHex(id), key])),
      unwrappers: unwrappersOf(swappedRecord, keys.secrets),
      marksKey: randomBytes(32),
    },
    authority,
    sealers: { hands, macKeys: sealingKeys(macKeys), securityVersion: facts.securityVersion ?? 0 },
    cipher: keys.cipher,
    kekLength: keys.kekLength,
    swapped: swappedOf(record, keys.cipher !== undefined),
  };
}

/** A payload bears one MAC for each cohort; a unit holds the key of one. */
function sealingKeys<K>(keys: readonly K[]): readonly K[] {
  return keys.slice(0, 1);
}

function likenessesOf({ authentications = [] }: Verdict['facts']): SignerLikeness[] {
  return authentications.flatMap(({ signer }) => (signer ? likenessOf(signer) : []));
}

/** What a throwaway signer in the place of a real one must be. */
export function likenessOf({ certificate, anchor }: SignerFacts): SignerLikeness {
  return {
    algorithm: ALGORITHM_OF_KEY[certificate.keyType ?? 'p256'],
    subject: certificate.subject,
    role: certificate.role,
    scopes: certificate.subjectAltUris,
    generation: certificate.generation ?? 0,
    trial: false,
    anchor,
  };
}

const ALGORITHM_OF_KEY = { p256: -9, ed25519: -19, 'hss-lms': -46 } as const;

function anchorOf(authority: Throwaway, label: string): { readonly name: string; readonly spki: string } {
  const { certificate } = authority.line(label).root;
  return { name: toHex(certificate.subject.der), spki: toHex(certificate.spki) };
}

/** Rights that name a key by its fingerprint go over to the throwaway key in its place. */
function rightsFor(
  rights: readonly SignerRight[],
  { authentications = [] }: Verdict['facts'],
  hands: readonly Hand[],
): SignerRight[] {
  const real = authentications.flatMap(({ signer }) =>
    signer ? [fingerprint(signer.certificate.spki)] : [],
  );
  return rights.map((right) => {
    const hand = hands[real.indexOf(right.fingerprint ?? '')];
    return hand ? { ...right, fingerprint: fingerprint(hand.signer.publicKey) } : right;
  });
}

/** The profile of a record. */
export function profileOf({ profile }: UnitRecord): UnitProfile {
  return UNIT_PROFILES.find(({ name }) => name === profile)!;
}

/** New keys in place of those by which content keys reach the unit. */
function contentKeysFor(record: UnitRecord): {
  readonly unitKeys: readonly UnitKey[];
  readonly secrets: Parameters<typeof unwrappersOf>[1];
  readonly cipher: ImageCipher | undefined;
  readonly kekLength: number;
} {
  const profile = profileOf(record);
  const distribution = keyDistribution(profile.keyDistribution)!;
  const wrap = distribution.kind === 'agreement' ? distribution.wrap : distribution;
  const kekLength = 'kekLength' in wrap ? wrap.kekLength : 16;
  const held = (record.content_keys ?? []).map(({ id }) => ({ id, key: randomBytes(kekLength) }));
  const holdsOwn =
    distribution.kind === 'agreement' && record.unit_keys.some(({ purpose }) => purpose === 'decryption');
  const own = holdsOwn ? ownKey() : undefined;
  const recipients: Recipient[] = [
    ...held.slice(0, 1).map(({ id, key }) => heldWrappingKey(key, fromHex(id))),
    ...(own && held.length === 0 ? [recipientOf(own.spki)] : []),
  ];
  return {
    kekLength,
    unitKeys: record.unit_keys.map((key) =>
      key.purpose === 'decryption' && own ? { ...key, spki: toHex(own.spki), secret: SECRET } : key,
    ),
    secrets: {
      contentKeys: new Map(held.map(({ id, key }) => [id, key])),
      ...(own && { decryptionKey: own.pkcs8 }),
    },
    cipher:
      recipients.length === 0 ? undefined : { algorithm: contentAlgorithm(profile.content)!, recipients },
  };
}

/** A key pair for content keys. */
export function ownKey(): { readonly spki: Uint8Array; readonly pkcs8: Uint8Array } {
  const { handle, publicKey } = generateAgreementKey('p256');
  return {
    spki: publicKey.spki,
    pkcs8: new Uint8Array(handle.export({ format: 'der', type: 'pkcs8' })),
  };
}

/** A unit as a recipient, by its public key. */
export function recipientOf(spki: Uint8Array): Recipient {
  return publicKeyRecipient(readAgreementKey(spki)!, decryptionKeyId(spki));
}

function swappedOf({ scheme, anchors, rights }: UnitRecord, decrypts: boolean): string[] {
  const keys =
    scheme === 'asymmetric'
      ? [`the key of ${anchors.length === 1 ? 'the root' : `${anchors.length} roots`}`]
      : ['the MAC key'];
  return [
    ...keys,
    ...(decrypts ? ['the key that content keys reach it by'] : []),
    ...(rights?.some(({ fingerprint: named }) => named !== undefined) ? ['fingerprints in its rights'] : []),
  ];
}

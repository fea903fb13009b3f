/** Encrypted releases of Hollin Ridge, an invented maker, and units that can or cannot decrypt them. Test keys. */
import { concat, fromHex, toHex } from '../../src/bytes/index.ts';
import {
  contentAlgorithm,
  heldWrappingKey,
  publicKeyRecipient,
  type Recipient,
  SUIT_PAYLOAD_ENCRYPTION,
  startEncrypt,
} from '../../src/cose/index.ts';
import { generateAgreementKey, readAgreementKey, sha256 } from '../../src/crypto/index.ts';
import type { SlotShape } from '../../src/image/index.ts';
import {
  describeRelease,
  type ImageEncryption,
  integratedUris,
  type ManifestDescription,
  writeManifest,
} from '../../src/suit/index.ts';
import { decryptionKeyId, type UnitView, unwrappersOf } from '../../src/unit/index.ts';
import { unitProfile } from '../../src/unit/profiles.ts';
import type { TestChain } from '../x509/support.ts';
import {
  CLASS_KEY,
  envelopeOf,
  imageOf,
  type Sealing,
  symmetricUnit,
  unitOf,
  VENDOR,
  VENT,
} from './maker.ts';

/** A unit's key pair for content keys, as a unit record and a sealer know it. */
export function decryptionKey() {
  const { handle, publicKey } = generateAgreementKey('p256');
  const pkcs8 = new Uint8Array(handle.export({ format: 'der', type: 'pkcs8' }));
  return { spki: publicKey.spki, pkcs8 };
}
export type DecryptionKey = ReturnType<typeof decryptionKey>;

/** A key-encryption key with the id that recipients name. */
export interface Kek {
  readonly id: Uint8Array;
  readonly key: Uint8Array;
}
export const KEK: Kek = { id: fromHex('0123456789abcdef'), key: sha256(fromHex('03')).slice(0, 16) };

/** The unit as a recipient of ECDH-ES+A128KW. */
export const toUnit = ({ spki }: DecryptionKey): Recipient =>
  publicKeyRecipient(readAgreementKey(spki)!, decryptionKeyId(spki));
export const toHolders = ({ id, key }: Kek): Recipient => heldWrappingKey(key, id);

/** A unit of the asymmetric scheme with its own decryption key. */
export function unitWithKey(
  chain: TestChain,
  own: DecryptionKey,
  {
    shape = 'remapped',
    profile = 'suit-sha256-esp256-ecdh-a128ctr',
  }: { shape?: SlotShape; profile?: string } = {},
): UnitView {
  const secret = { pem: 'in custody of the test' };
  const unit = unitOf(chain, {
    shape,
    type: profile.includes('ed25519') ? 'ed25519' : 'p256',
    record: { profile, unit_keys: [{ purpose: 'decryption', spki: toHex(own.spki), secret }] },
  });
  const unwrappers = unwrappersOf(unit.record, { contentKeys: new Map(), decryptionKey: own.pkcs8 });
  return { ...unit, unwrappers };
}

/** A unit of the symmetric scheme that holds a key-encryption key beside its MAC key. */
export function unitWithKek(kek: Kek, changes: { memory?: UnitView['record']['memory'] } = {}): UnitView {
  const unit = symmetricUnit([CLASS_KEY]);
  const record = { ...unit.record, ...changes };
  const contentKeys = new Map([[toHex(kek.id), kek.key]]);
  return { ...unit, record, unwrappers: unwrappersOf(record, { contentKeys }) };
}

/** An image encrypted as the profile of a class has it. */
export async function encrypted(
  image: Uint8Array,
  recipients: readonly Recipient[],
  profile = 'suit-sha256-esp256-ecdh-a128ctr',
): Promise<{ ciphertext: Uint8Array; encryption: ImageEncryption }> {
  const algorithm = contentAlgorithm(unitProfile(profile)!.content)!;
  const running = await startEncrypt({ algorithm, recipients, other: SUIT_PAYLOAD_ENCRYPTION });
  const body = running.update(image);
  const ciphertext = concat(body, running.final());
  return {
    ciphertext,
    encryption: { info: running.info, digest: sha256(ciphertext), sizeBytes: ciphertext.length },
  };
}

export interface EncryptedOptions {
  readonly shape?: SlotShape;
  readonly profile?: string;
  readonly images?: readonly Uint8Array[];
  readonly recipients: readonly Recipient[];
  readonly seal: Sealing;
  readonly sequenceNumber?: number;
  /** What becomes of each ciphertext on the way. */
  readonly onTheWay?: (ciphertext: Uint8Array) => Uint8Array;
  /** What the sealer gets wrong. */
  readonly wrongly?: (encryption: ImageEncryption) => ImageEncryption;
  readonly described?: (description: ManifestDescription) => ManifestDescription;
}

/** A release whose images travel encrypted, integrated. */
export async function encryptedRelease(options: EncryptedOptions) {
  const { shape = 'remapped', profile, recipients, seal, sequenceNumber = 7 } = options;
  const images = options.images ?? [imageOf(5000)];
  const uris = integratedUris(shape);
  const made = await Promise.all(images.map((image) => encrypted(image, recipients, profile)));
  const wrongly = options.wrongly ?? ((each) => each);
  const description = describeRelease({
    shape,
    sequenceNumber,
    vendorId: VENDOR,
    classId: VENT,
    start: true,
    images: images.map((image, i) => ({
      digest: sha256(image),
      sizeBytes: image.length,
      uri: uris[i]!,
      encryption: wrongly(made[i]!.encryption),
    })),
  });
  const { manifest, severed } = writeManifest(options.described?.(description) ?? description);
  const arrives = options.onTheWay ?? ((bytes) => bytes);
  const integrated = made.map(({ ciphertext }, i) => ({ key: uris[i]!, bytes: arrives(ciphertext) }));
  return { envelope: await envelopeOf({ manifest, severed, integrated, seal }), images };
}

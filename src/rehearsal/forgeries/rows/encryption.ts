/** Steps 8 and 9 for encrypted images: for whom, by what, and what arrives. */

import { fromHex } from '../../../bytes/index.ts';
import { CborMap, CborTag, type CborValue, encode } from '../../../cbor/index.ts';
import {
  contentAlgorithm,
  heldWrappingKey,
  publicKeyRecipient,
  type Recipient,
} from '../../../cose/index.ts';
import { randomBytes, readAgreementKey } from '../../../crypto/index.ts';
import { decryptionKeyId, unwrappersOf } from '../../../unit/index.ts';
import { decodeValue, ELEMENT } from '../draft.ts';
import { type Attack, type Forgery, onField, onUnit, resealed } from '../forgery.ts';
import { refusedWith } from '../heard.ts';
import { type ImageCipher, withImages, withOtherImages } from '../images.ts';
import type { Lab } from '../lab.ts';
import { oneBit, putTogether } from '../parts.ts';
import { ownKey, recipientOf } from '../stand-in.ts';

const INFO = 19;
const IV = 5;
const SELECT = 12;
const SIZE = 14;
const CONTENT = 18;
const WRITE = 18;
const SET = 20;
const ENCRYPT = 96;
const IMAGE_MATCH = 3;
const ENCRYPTED = ['encryption'] as const;

/** The image encrypted again, for somebody else or by something else, and the manifest sealed around it. */
const encryptedFor = (cipher: (own: ImageCipher, lab: Lab) => Partial<ImageCipher>): Attack => ({
  against: 'stand-in',
  carryOut: async (lab) => {
    const own = lab.standIn.cipher!;
    const { parts, image } = await withOtherImages(
      lab.unsealed,
      { ...own, ...cipher(own, lab) },
      lab.field.slots.free,
    );
    const { envelope } = await lab.sealParts(parts);
    return lab.askStandIn({ envelope, image });
  },
});

/** The ciphertext changed on the way, which nobody needs a key for. */
const onTheWay = (change: (ciphertext: Uint8Array) => Uint8Array): Attack =>
  onUnit(({ parts, offer }) => ({
    envelope: putTogether({
      ...parts,
      integrated: withImages(parts, change),
    }),
    image: offer.image && change(offer.image),
  }));

/** The id of the unit's key on a key that is not the unit's. */
function namesakeOf({ record, standIn: { parts, kekLength } }: Lab): Recipient {
  const [shared] = record.content_keys ?? [];
  if (shared) return heldWrappingKey(randomBytes(kekLength), fromHex(shared.id));
  const own = parts.record.unit_keys.find(({ purpose }) => purpose === 'decryption')!;
  return publicKeyRecipient(readAgreementKey(ownKey().spki)!, decryptionKeyId(fromHex(own.spki)));
}

function withoutIv(info: CborValue): CborValue {
  const { value } = decodeValue(info as Uint8Array) as CborTag;
  const [headers, open, ...rest] = value as readonly CborValue[];
  const kept = (open as CborMap).entries.filter(([label]) => label !== IV);
  return encode(new CborTag(ENCRYPT, [headers!, new CborMap(kept), ...rest]));
}

export const ENCRYPTION_ROWS: readonly Forgery[] = [
  {
    name: 'A ciphertext without the start of its key stream',
    threat: 'IMG.DISCLOSURE',
    built: 'the IV is left out of the encryption info',
    where: ENCRYPTED,
    refusal: 'encryption-info-wrong',
    attack: resealed((draft) => {
      draft.parameter(INFO, withoutIv);
    }),
  },
  {
    name: 'Another cipher than that of the class',
    threat: 'IMG.DISCLOSURE',
    built: 'the image is encrypted by another algorithm than that of the profile, as after stripping a tag',
    where: ENCRYPTED,
    refusal: 'encryption-algorithm-not-allowed',
    attack: encryptedFor(({ algorithm }) => ({
      algorithm: contentAlgorithm(algorithm.mode === 'aead' ? 'A128CTR' : 'A128GCM')!,
    })),
  },
  {
    name: 'Encrypted for somebody else',
    threat: 'IMG.DISCLOSURE',
    built: 'the content key is sent to another unit only',
    where: ENCRYPTED,
    refusal: 'recipient-missing',
    attack: encryptedFor((_, { record, standIn }) => ({
      recipients: [
        (record.content_keys ?? []).length > 0
          ? heldWrappingKey(randomBytes(standIn.kekLength), randomBytes(8))
          : recipientOf(ownKey().spki),
      ],
    })),
  },
  {
    name: 'The name of the unit’s key on another key',
    threat: 'IMG.DISCLOSURE',
    built: 'the content key is wrapped under another key that bears the id of the unit’s',
    where: ENCRYPTED,
    refusal: 'content-key-wrong',
    attack: encryptedFor((_, lab) => ({ recipients: [namesakeOf(lab)] })),
  },
  {
    name: 'A staged ciphertext that nothing compares',
    threat: 'IMG.REPLACE',
    built: 'the comparison of what waits in the staging area is left out',
    where: ['encryption', 'staged'],
    refusal: 'ciphertext-digest-missing',
    attack: resealed((draft) => {
      const pairs = draft.section(ELEMENT.fetch);
      const kept: CborValue[] = [];
      for (let i = 0; i < pairs.length; i += 2)
        if (pairs[i] !== IMAGE_MATCH) kept.push(pairs[i]!, pairs[i + 1]!);
      draft.setSection(ELEMENT.fetch, kept);
    }),
  },
  {
    name: 'A key to the image that is severed',
    threat: 'NET.ONPATH',
    built: 'the section that a start decrypts by is severed, and no unit keeps severed parts',
    where: ['encryption', 'staged'],
    refusal: 'install-failed',
    attack: resealed((draft) => draft.sever(ELEMENT.install, encode([...draft.section(ELEMENT.install)]))),
  },
  {
    name: 'A ciphertext written where nothing runs',
    threat: 'IMG.LOCATION',
    built:
      'in place of the fetch, a few encrypted bytes of the manifest itself are written to the component that is fetched',
    where: ENCRYPTED,
    refusal: 'install-failed',
    attack: resealed((draft) => {
      const info = draft.section(ELEMENT.install).find((each) => each instanceof CborMap) as CborMap;
      const own = info.entries.find(([code]) => code === INFO)!;
      const written = new CborMap([[CONTENT, new Uint8Array(8)], own]);
      draft.setSection(ELEMENT.fetch, [SELECT, 1, SET, written, WRITE, 2]);
    }),
  },
  {
    name: 'A ciphertext of another stated length',
    threat: 'IMG.EXTRA',
    built: 'the manifest states one byte more of ciphertext than image and tag give',
    where: ENCRYPTED,
    refusal: 'ciphertext-length-wrong',
    attack: resealed((draft) => {
      const pairs = draft.section(ELEMENT.fetch);
      const longer = pairs.map((each) =>
        each instanceof CborMap
          ? new CborMap(
              each.entries.map(([code, value]) => [code, code === SIZE ? Number(value) + 1 : value] as const),
            )
          : each,
      );
      draft.setSection(ELEMENT.fetch, longer);
    }),
  },
  {
    name: 'A ciphertext larger than the area it waits in',
    threat: 'IMG.LOCATION',
    built: 'the image fills the slot, and its ciphertext is longer by a tag',
    where: ['encryption', 'staged', 'tagged encryption'],
    refusal: 'ciphertext-length-wrong',
    attack: {
      against: 'stand-in',
      carryOut: (lab) => {
        const { memory } = lab.field.record;
        const size = lab.imageSize;
        const slots = memory.slots.map((slot) => ({ ...slot, size })) as unknown as typeof memory.slots;
        return lab.askStandIn(lab.twin, { record: { memory: { ...memory, slots } } });
      },
    },
  },
  {
    name: 'The ciphertext cut short',
    threat: 'NET.ONPATH',
    built: 'the last byte of the ciphertext is left out',
    where: ENCRYPTED,
    refusal: 'ciphertext-length-wrong',
    attack: onTheWay((bytes) => bytes.slice(0, -1)),
  },
  {
    name: 'One bit of a staged ciphertext',
    threat: 'NET.ONPATH',
    built: 'one bit of the ciphertext is changed on its way to the staging area',
    where: ['encryption', 'staged'],
    refusal: 'ciphertext-digest-wrong',
    attack: onTheWay((bytes) => oneBit(bytes, 9)),
  },
  {
    name: 'One bit under a tag',
    threat: 'NET.ONPATH',
    built: 'one bit of a ciphertext that is decrypted on the fly is changed; its tag tells',
    where: ['encryption', 'two slots', 'tagged encryption'],
    refusal: 'decryption-failed',
    attack: onTheWay((bytes) => oneBit(bytes, 9)),
  },
  {
    name: 'One bit without a tag',
    threat: 'NET.ONPATH',
    built: 'one bit of a ciphertext that is decrypted on the fly is changed; the digest of the image tells',
    where: ['encryption', 'two slots', 'untagged encryption'],
    refusal: 'image-digest-wrong',
    attack: onTheWay((bytes) => oneBit(bytes, 9)),
  },
  {
    name: 'A staged image whose key is gone',
    threat: 'IMG.REPLACE',
    built: 'the keys of the unit are exchanged after the install; the start cannot decrypt what waits',
    where: ['encryption', 'staged'],
    refusal: 'stored-decryption-wrong',
    attack: onField((field) => {
      const { unit } = field.power('ready', {
        parts: { unwrappers: unwrappersOf(field.record, { contentKeys: new Map() }) },
      });
      return refusedWith(unit.start().passedOver[0]?.refusal);
    }),
  },
];

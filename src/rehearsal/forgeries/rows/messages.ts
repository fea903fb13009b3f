/** Before step 1: encrypted messages around an envelope, made by somebody else, for somebody else, or changed. */
import { encryptMessage, heldMacKey, LABEL, sealEncrypt } from '../../../cose/index.ts';
import { randomBytes } from '../../../crypto/index.ts';
import { messageAlgorithm, UNIT_LIMITS } from '../../../unit/index.ts';
import { dersOf, thumbprint, x5chain } from '../blocks.ts';
import { type Attack, type Forgery, onUnit } from '../forgery.ts';
import type { Lab } from '../lab.ts';
import { oneBit } from '../parts.ts';
import { ownKey, recipientOf } from '../stand-in.ts';
import type { Hand } from '../throwaway.ts';
import { strangerLike } from './hands.ts';

const MEDIA_TYPE = 'application/suit-envelope+cose';
const WHERE = ['decryption'] as const;

/** Who vouches for a message: the hand or MAC key of the stand-in's authority, or somebody else's. */
async function message(
  lab: Lab,
  stranger = false,
  recipients = lab.standIn.cipher!.recipients,
): Promise<Uint8Array> {
  const { hands, macKeys } = lab.standIn.sealers;
  const hand = hands.find(({ signer }) => signer.algorithm.id === lab.profile.algorithm);
  const by = hand && stranger ? await (await strangerLike(lab)).hand(hand.likeness) : hand;
  const [key] = macKeys;
  return encryptMessage({
    plaintext: lab.twin.envelope,
    contentType: MEDIA_TYPE,
    encryption: { recipients, algorithm: messageAlgorithm(lab.standIn.cipher!.algorithm) },
    ...(by ? signedBy(by) : { authenticator: heldMacKey(key!.id, stranger ? randomBytes(32) : key!.key) }),
  });
}

function signedBy({ signer, certificates }: Hand) {
  const ders = dersOf(certificates);
  return {
    authenticator: signer,
    protectedHeaders: [[LABEL.x5t, thumbprint(ders[0]!)]] as const,
    unprotectedHeaders: [[LABEL.x5chain, x5chain(ders)]] as const,
  };
}

/** What the stand-in says to a message. */
const sent = (make: (lab: Lab) => Promise<Uint8Array>): Attack => ({
  against: 'stand-in',
  carryOut: async (lab) => lab.askStandIn({ envelope: await make(lab), image: lab.twin.image }),
});

export const MESSAGE_ROWS: readonly Forgery[] = [
  {
    name: 'A message by somebody who has the unit’s public key',
    threat: 'MFST.EXPOSURE',
    built: 'the envelope is encrypted for the unit, and nobody vouches for the message',
    where: WHERE,
    refusal: 'message-malformed',
    attack: sent((lab) =>
      sealEncrypt({
        algorithm: messageAlgorithm(lab.standIn.cipher!.algorithm),
        recipients: lab.standIn.cipher!.recipients,
        plaintext: lab.twin.envelope,
      }),
    ),
  },
  {
    name: 'A message cut short',
    threat: 'NET.ONPATH',
    built: 'the message ends half way',
    where: WHERE,
    refusal: 'message-malformed',
    attack: sent(async (lab) => {
      const whole = await message(lab);
      return whole.subarray(0, Math.floor(whole.length / 2));
    }),
  },
  {
    name: 'A message of somebody else',
    threat: 'MFST.EXPOSURE',
    built:
      'the envelope is encrypted for the unit, and somebody without a right to it vouches for the message',
    where: WHERE,
    refusal: 'message-not-authentic',
    attack: sent((lab) => message(lab, true)),
  },
  {
    name: 'One bit of a message',
    threat: 'NET.ONPATH',
    built:
      'one bit of the encrypted part is changed; its signature or MAC tells before anything is decrypted',
    where: WHERE,
    refusal: 'message-not-authentic',
    attack: sent(async (lab) => {
      const whole = await message(lab);
      return oneBit(whole, Math.floor(whole.length / 2));
    }),
  },
  {
    name: 'A message for somebody else',
    threat: 'MFST.EXPOSURE',
    built: 'a genuine message, encrypted for another unit',
    where: WHERE,
    refusal: 'message-not-decrypted',
    attack: sent((lab) => message(lab, false, [recipientOf(ownKey().spki)])),
  },
  {
    name: 'A message too large to hold',
    threat: 'NET.ONPATH',
    built: 'a file that begins as a message does, one byte larger than a unit holds',
    refusal: 'envelope-too-large',
    attack: onUnit(() => {
      const envelope = new Uint8Array(UNIT_LIMITS.messageBytes.value + 1);
      envelope[0] = 0xd2;
      return { envelope };
    }),
  },
];

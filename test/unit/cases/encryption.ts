/** Step 8 for an encrypted image: whom it was encrypted for, by what, and what arrived. */
import { fromHex } from '../../../src/bytes/index.ts';
import {
  decryptionKey,
  type EncryptedOptions,
  encryptedRelease,
  KEK,
  type Kek,
  toHolders,
  toUnit,
  unitWithKek,
  unitWithKey,
} from '../encrypted.ts';
import { COSE_FORMS } from '../encrypted-forms.ts';
import { CLASS_KEY, check, macedWith, makerChain, release, signedBy } from '../maker.ts';
import { messageAround, strangersEncryption } from '../messages.ts';
import type { Case } from './case.ts';

const chain = await makerChain();
const own = decryptionKey();
const stranger = await makerChain();
const sentBy =
  (by: typeof chain, to = own) =>
  async () => {
    const { envelope } = await release({ seal: signedBy(chain) });
    return check(unitWithKey(chain, own), await messageAround(envelope, by, [toUnit(to)]));
  };
const GCM = 'suit-sha256-esp256-ecdh-a128gcm';
const OTHER_KEK: Kek = { id: KEK.id, key: fromHex('00112233445566778899aabbccddeeff') };

const offered =
  (options: Partial<EncryptedOptions>, unit = unitWithKey(chain, own, options)) =>
  async () =>
    check(
      unit,
      (await encryptedRelease({ recipients: [toUnit(own)], seal: signedBy(chain), ...options })).envelope,
    );

const shorter = (bytes: Uint8Array) => bytes.subarray(1);
const altered = (bytes: Uint8Array) => bytes.map((byte, at) => (at === 9 ? byte ^ 1 : byte));

export const ENCRYPTION_CASES: readonly Case[] = [
  {
    code: 'message-malformed',
    title: 'RFC 9052 5.1: encrypted by a stranger with the public key of the unit, and signed by nobody',
    verdict: async () => check(unitWithKey(chain, own), await strangersEncryption(toUnit(own))),
  },
  {
    code: 'message-not-authentic',
    title: 'RFC 9052 4.4: freshly encrypted by a stranger, and signed by their own signer',
    verdict: sentBy(stranger),
  },
  {
    code: 'message-not-decrypted',
    title: 'RFC 9052 5.3: authentic, and encrypted for another unit',
    verdict: sentBy(chain, decryptionKey()),
  },
  {
    code: 'encryption-info-wrong',
    title: '[FE] 6, RFC 9052 3.1: an encryption info without an IV',
    verdict: offered({ wrongly: (each) => ({ ...each, info: COSE_FORMS.withoutIv }) }),
  },
  {
    code: 'encryption-algorithm-not-allowed',
    title: '[MTI] 5.2: AES-GCM for a unit whose profile has AES-CTR',
    verdict: offered({ profile: GCM }, unitWithKey(chain, own)),
  },
  {
    code: 'encryption-algorithm-not-allowed',
    title: 'RFC 9459 8: AES-CTR for a unit whose profile has AES-GCM, as after stripping a tag',
    verdict: offered({}, unitWithKey(chain, own, { profile: GCM })),
  },
  {
    code: 'recipient-missing',
    title: '[FE] 5.2: encrypted for another unit',
    verdict: offered({ recipients: [toUnit(decryptionKey())] }),
  },
  {
    code: 'recipient-missing',
    title: '[MTI] 3.1: ECDH-ES for a unit whose profile has key wrap only',
    verdict: offered({ seal: macedWith(CLASS_KEY) }, unitWithKek(KEK)),
  },
  {
    code: 'content-key-wrong',
    title: 'RFC 3394 2.2.3: wrapped under another key with the same id',
    verdict: offered({ recipients: [toHolders(OTHER_KEK)], seal: macedWith(CLASS_KEY) }, unitWithKek(KEK)),
  },
  {
    code: 'ciphertext-digest-missing',
    title: '[FE] 4.3: nothing compares what waits in the staging area',
    verdict: offered({
      shape: 'staged',
      described: (description) => ({
        ...description,
        sequences: new Map(
          [...description.sequences].map(([name, commands]) => [
            name,
            name === 'payload-fetch' ? commands.filter(({ code }) => code !== 3) : commands,
          ]),
        ),
      }),
    }),
  },
  {
    code: 'ciphertext-length-wrong',
    title: 'RFC 9053 4.1: a ciphertext as long as its image, where a tag belongs to it',
    verdict: offered({ profile: GCM, wrongly: (each) => ({ ...each, sizeBytes: each.sizeBytes - 16 }) }),
  },
  {
    code: 'ciphertext-length-wrong',
    title: 'RFC 9124 4.3.15: cut short on the way',
    verdict: offered({ onTheWay: shorter }),
  },
  {
    code: 'ciphertext-digest-wrong',
    title: 'RFC 9459 8: altered on the way to a staging area',
    verdict: offered({ shape: 'staged', onTheWay: altered }),
  },
  {
    code: 'decryption-failed',
    title: 'RFC 9053 4.1: altered on the way, told by the tag',
    verdict: offered({ profile: GCM, onTheWay: altered }),
  },
  {
    code: 'image-digest-wrong',
    title: '[M] 8.4.9.2: altered on the way under AES-CTR, told by the digest of the image',
    verdict: offered({ onTheWay: altered }),
  },
  {
    code: 'install-failed',
    title: '[M] 8.4.12: what a start decrypts by is severed, and no unit keeps it',
    verdict: offered({
      shape: 'staged',
      described: (description) => ({ ...description, sever: ['install'] }),
    }),
  },
];

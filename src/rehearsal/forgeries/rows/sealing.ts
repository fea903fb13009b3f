/** What no unit could tell, and sealing refuses: the same key stream for two contents. */
import {
  type RunningEncryption,
  SUIT_PAYLOAD_ENCRYPTION,
  sealEncrypt,
  startEncrypt,
} from '../../../cose/index.ts';
import { messageAlgorithm } from '../../../unit/index.ts';
import type { Attack, Forgery } from '../forgery.ts';
import { type Heard, heardAs } from '../heard.ts';
import type { Lab } from '../lab.ts';

/** A random source that is worn out: it gives the same bytes each time. */
function repeating(): (length: number) => Uint8Array {
  return (length) => new Uint8Array(length).fill(7);
}

/** Encrypts twice with a source that repeats itself. */
const twice = (encrypt: (lab: Lab, random: ReturnType<typeof repeating>) => Promise<unknown>): Attack => ({
  against: 'sealing',
  carryOut: async (lab): Promise<Heard> => {
    const random = repeating();
    await encrypt(lab, random);
    try {
      await encrypt(lab, random);
      return heardAs('both were encrypted under one key and IV');
    } catch (error) {
      if (error instanceof Error && error.message.includes('a second time'))
        return heardAs('sealing-refused');
      throw error;
    }
  },
});

export const SEALING_ROWS: readonly Forgery[] = [
  {
    name: 'Two images under one key and IV',
    threat: 'IMG.DISCLOSURE',
    built: 'two images are to be encrypted with a random source that repeats itself: both would lie open',
    where: ['decryption'],
    refusal: 'sealing-refused',
    attack: twice(
      ({ standIn }, random): Promise<RunningEncryption> =>
        startEncrypt({ ...standIn.cipher!, other: SUIT_PAYLOAD_ENCRYPTION, random }),
    ),
  },
  {
    name: 'Two messages under one key and IV',
    threat: 'MFST.EXPOSURE',
    built: 'two messages are to be encrypted with a random source that repeats itself: both would lie open',
    where: ['decryption'],
    refusal: 'sealing-refused',
    attack: twice(({ standIn, twin }, random) =>
      sealEncrypt({
        ...standIn.cipher!,
        algorithm: messageAlgorithm(standIn.cipher!.algorithm),
        plaintext: twin.envelope,
        random,
      }),
    ),
  },
];

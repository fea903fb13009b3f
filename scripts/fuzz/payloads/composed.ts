/** What is sealed for a unit with a radio: a release of its own that names the release of the radio's maker, both in one envelope. */

import { radioRelease, wholeRelease } from '../../../test/unit/composed.ts';
import { imageOf } from '../../../test/unit/maker.ts';
import type { Authority } from './authority.ts';

/** Size of every radio image, in bytes. */
export const RADIO_SIZE = 310;

/** One release: its number is the radio release's too. */
export interface ComposedRelease {
  readonly envelope: Uint8Array;
  readonly radioEnvelope: Uint8Array;
  readonly radioImage: Uint8Array;
}

/** Sealed by two makers, each with keys of its own. */
export async function composedRelease(
  own: Authority,
  radioMaker: Authority,
  { number, seed }: { readonly number: number; readonly seed: number },
): Promise<ComposedRelease> {
  const radioImage = imageOf(RADIO_SIZE, seed + 50);
  const radio = await radioRelease({
    seal: async (digest) => radioMaker.blocks(digest, 0),
    sequenceNumber: number,
    image: radioImage,
  });
  const { envelope } = await wholeRelease({
    seal: async (digest) => own.blocks(digest, 1),
    radio,
    image: imageOf(300, seed),
    sequenceNumber: number,
  });
  return { envelope, radioEnvelope: radio.envelope, radioImage };
}

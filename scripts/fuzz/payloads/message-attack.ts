/** Attacks on an encrypted message itself; what is inside is genuine. */
import { sha256 } from '../../../src/crypto/index.ts';
import { mutateBytes } from '../byte-mutation.ts';
import { mutateTree } from '../cbor-mutation.ts';
import { changeAt, type Node, placesOf, treeOf, write } from '../cbor-tree.ts';
import type { Random } from '../random.ts';
import type { Payload } from './attack.ts';
import type { Messenger } from './messages.ts';
import { resealedMessage } from './resealed.ts';
import type { Rig } from './rig.ts';

/**
 * Outsiders change a message, or encrypt one of their own around a genuine envelope and have no seal for it; insiders seal
 * the changed message again.
 */
export function otherMessage(random: Random, rig: Rig, insider: boolean): Payload {
  const { envelope, image } = random.pick(rig.offers);
  const messenger = rig.messenger!;
  if (!insider && random.chance(0.4)) {
    const forged = strangers(random, rig, messenger, envelope);
    return { kind: 'payload', envelope: forged, image, sealed: [], unsealed: true };
  }
  const message = messenger.around(envelope);
  if (!insider && random.chance(0.3))
    return { kind: 'payload', envelope: mutateBytes(random, message), image, sealed: [] };
  const tree = treeOf(message)!;
  const changed = mutateTree(random, tree, placesOf(tree));
  const sent = insider ? resealedMessage(changed, rig.authority) : changed;
  return { kind: 'payload', envelope: write(sent), image, sealed: [] };
}

const SEAL = [0, 3];

/** What somebody can make who has no key of the maker's. */
function strangers(random: Random, rig: Rig, messenger: Messenger, envelope: Uint8Array): Uint8Array {
  const encrypted = messenger.encrypted(envelope);
  const withSeal = (value: Uint8Array): Uint8Array =>
    write(changeAt(treeOf(messenger.around(envelope))!, SEAL, (): Node => ({ kind: 'bytes', value })));
  switch (random.below(4)) {
    case 0:
      return encrypted;
    case 1:
      return withSeal(random.bytes(sealLength(rig)));
    case 2:
      return withSeal(rig.authority.seal(sha256(envelope), encrypted));
    default:
      return withSeal(new Uint8Array(random.below(2) * sealLength(rig)));
  }
}

const sealLength = ({ authority }: Rig) => authority.seal(new Uint8Array(), new Uint8Array()).length;

/**
 * HSS/LMS keys (RFC 8554, RFC 9858) in encrypted files, or in tokens that know them. The file holds a master secret and no state: which leaf is next is
 * kept by a `LeafSource`, so that a copy of the file alone signs nothing, and restoring it from a backup does no harm.
 */
import {
  type HssSecret,
  type HssShape,
  HssTrees,
  hssShapeNames,
  hssSpki,
  type PublicKey,
  randomBytes,
  readPublicKey,
  verifySignature,
} from '../../crypto/index.ts';
import { HSS_LMS_ALGORITHM } from '../algorithms.ts';
import { describeSigningKey, type KeyDescription } from '../description.ts';
import { type KeyFile, prepareSecretKey, withSecretKey } from '../file-custody.ts';
import type { CustodySigner, KeyAccess, KeyProgress, LeafSource, MadeKey, NewKey } from '../ports.ts';
import type { SecretSource } from '../secrets.ts';
import { faultySignature } from '../software.ts';
import * as token from '../token/custody.ts';
import { MASTER_LENGTH, readHssSecret, writeHssSecret } from './secret.ts';
import { treeFiles } from './tree-files.ts';

/** An HSS/LMS signer to be made. `startLeaves` and `progress` are for a key in a file: a token sees to both itself. */
export interface NewHssKey extends NewKey {
  readonly purpose: 'signer';
  readonly shape: HssShape;
  /** Starts the leaves of the key once it is made. */
  readonly startLeaves: (description: KeyDescription) => LeafSource;
  readonly progress?: KeyProgress | undefined;
}

/**
 * Makes an HSS/LMS signer. In a file: asks for the passphrase, grows the top tree (seconds to hours), then writes the
 * file. Throws `KeyError` as `createSigningKey`; token-mechanism where the token does not know HSS/LMS.
 */
export async function createHssSigner(
  request: NewHssKey,
  secrets: SecretSource,
): Promise<MadeKey<CustodySigner>> {
  const { name, place, shape, trial } = request;
  if (place.custody === 'token') return token.createHssSigner(request, place, shape, secrets);
  const file: KeyFile = { path: place.path, keyName: name, purpose: 'working' };
  const secret: HssSecret = { shape, master: randomBytes(MASTER_LENGTH) };
  const bytes = writeHssSecret(secret);
  try {
    const write = await prepareSecretKey(file, 'hss-lms', bytes, trial, secrets);
    const trees = new HssTrees(secret, { store: treeFiles(place.path), progress: request.progress });
    const publicKey = publicKeyOf(trees);
    const evidence = write();
    const shown = { algorithm: HSS_LMS_ALGORITHM, publicKey: publicKey.spki };
    const description = describeSigningKey(request, { custody: 'file', levels: hssShapeNames(shape) }, shown);
    return { description, key: hssSigner(trees, publicKey, request.startLeaves(description)), evidence };
  } catch (error) {
    secret.master.fill(0);
    throw error;
  } finally {
    bytes.fill(0);
  }
}

/** Opens an HSS/LMS key in a file, with its mark. Throws `KeyError`; `TypeError` where no leaves come with the access. */
export async function openHssSigner(
  file: KeyFile,
  access: KeyAccess,
): Promise<{ signer: CustodySigner; trial: boolean }> {
  const { leaves, progress } = access;
  if (!leaves) throw new TypeError('an HSS/LMS key is opened with its leaves');
  return withSecretKey(file, 'hss-lms', access.secrets, (bytes, trial) => {
    const trees = new HssTrees(readHssSecret(bytes), { store: treeFiles(file.path), progress });
    return { signer: hssSigner(trees, publicKeyOf(trees), leaves), trial };
  });
}

/**
 * A signer over grown trees. Each signature takes a leaf first, and is verified before it is given out: a fault shows here
 * and costs a leaf, no more. Its `sign` throws `KeyError` signature-faulty and what the leaves throw.
 */
function hssSigner(trees: HssTrees, publicKey: PublicKey, leaves: LeafSource): CustodySigner {
  let open = true;
  return {
    algorithm: HSS_LMS_ALGORITHM,
    publicKey: publicKey.spki,
    async sign(message) {
      if (!open) throw new TypeError('this signer is closed');
      const signature = trees.sign(leaves.take(), message);
      if (verifySignature(publicKey, message, signature)) return signature;
      throw faultySignature();
    },
    close() {
      open = false;
      trees.wipe();
    },
  };
}

function publicKeyOf(trees: HssTrees): PublicKey {
  return readPublicKey(hssSpki(trees.publicKey())!)!;
}

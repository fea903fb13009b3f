/** HSS/LMS keys in a token (PKCS#11 v3.1 section 6.14): the token keeps the state, and no leaf is counted outside it. */
import type { Handle } from 'pkcs11js';
import type { Signer } from '../../cose/index.ts';
import {
  type HssShape,
  hssCost,
  hssSpki,
  type PublicKey,
  readPublicKey,
  verifySignature,
} from '../../crypto/index.ts';
import { HSS_LMS_ALGORITHM } from '../algorithms.ts';
import { KeyError } from '../error.ts';
import { faultySignature } from '../software.ts';
import {
  firstTaken,
  numberList,
  type Rules,
  readBack,
  readNumber,
  requireStrong,
  SIGNING_KEY,
  SIGNING_KEY_RULES,
} from './attributes.ts';
import { CK } from './constants.ts';
import { locate, type NewPlace, tracked } from './locate.ts';
import { type Attributes, type TokenSession, templateOf } from './session.ts';
import { destroyPair, type MadePair } from './signing.ts';
import type { TokenUri } from './uri.ts';

// A copied key would sign with leaves that the first one signs with too.
const HSS_KEY_RULES: Rules = { ...SIGNING_KEY_RULES, CKA_COPYABLE: false };

/**
 * Makes an HSS/LMS key pair in the token. One that does not read back as it must is destroyed. Throws `KeyError`
 * token-mechanism where the token does not know CKM_HSS, token-key-weak, token-failed.
 */
export function generateHssPair(session: TokenSession, place: NewPlace, shape: HssShape): MadePair {
  const name: Attributes = { CKA_LABEL: place.label, CKA_ID: place.id };
  const levels: Attributes = {
    CKA_HSS_LEVELS: shape.length,
    CKA_HSS_LMS_TYPES: numberList(shape.map(({ lms }) => lms.type)),
    CKA_HSS_LMOTS_TYPES: numberList(shape.map(({ ots }) => ots.type)),
  };
  const pair = session.attempt((handle) =>
    firstTaken([{ CKA_ALLOWED_MECHANISMS: CK.hss }, {}], (extra) =>
      session.cryptoki.C_GenerateKeyPair(
        handle,
        { mechanism: CK.hssKeyPairGen },
        templateOf({ CKA_TOKEN: true, CKA_PRIVATE: false, CKA_VERIFY: true, ...name }),
        templateOf({ ...SIGNING_KEY, CKA_COPYABLE: false, ...levels, ...name, ...extra }),
      ),
    ),
  );
  try {
    const attributes = readBack(session, pair.privateKey, HSS_KEY_RULES);
    requireStrong(attributes, session.label);
    return { publicKey: readHssKey(session, pair.publicKey, shape), attributes };
  } catch (error) {
    destroyPair(session, pair);
    throw error;
  }
}

/**
 * Signer over an HSS/LMS key in the token. Each signature is verified with `publicKey`, the key on record, before it is
 * given out. Its `sign` throws `KeyError` token-key-used-up after the last.
 */
export function openHssPair(
  session: TokenSession,
  uri: TokenUri,
  publicKey: PublicKey,
  shape: HssShape,
): Signer {
  const key = tracked(session, () => findHss(session, uri));
  requireStrong(readBack(session, key(), HSS_KEY_RULES), session.label);
  const { signatureBytes } = hssCost(shape);
  return {
    algorithm: HSS_LMS_ALGORITHM,
    publicKey: publicKey.spki,
    async sign(message) {
      const signature = await session.sign(key, CK.hss, message, signatureBytes);
      if (verifySignature(publicKey, message, signature)) return signature;
      throw faultySignature();
    },
  };
}

/** How many signatures the token says the key has left; undefined where it does not say. */
export function hssKeysRemaining(session: TokenSession, uri: TokenUri): number | undefined {
  return readNumber(session, findHss(session, uri), 'CKA_HSS_KEYS_REMAINING');
}

function findHss(session: TokenSession, uri: TokenUri): Handle {
  return locate(session, uri, { CKA_CLASS: CK.classPrivateKey, CKA_KEY_TYPE: CK.keyTypeHss });
}

// CKA_VALUE is the public key as RFC 8554 encodes it: level count, types, identifier, root.
function readHssKey(session: TokenSession, publicObject: Handle, shape: HssShape): PublicKey {
  const spki = hssSpki(session.read(publicObject, 'CKA_VALUE') ?? new Uint8Array());
  const key = spki && readPublicKey(spki);
  const [top] = shape;
  const wanted =
    key?.type === 'hss-lms' &&
    key.hss.levels === shape.length &&
    key.hss.top.lms === top!.lms &&
    key.hss.top.ots === top!.ots;
  if (wanted) return key;
  throw new KeyError(
    'token-failed',
    `The token ${session.label} gave a public key that is not one of the parameters asked for.`,
    'Report it to its maker; make the key in another token or in a file.',
  );
}

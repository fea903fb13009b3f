/** Signing keys in a token: made there, never extractable, used there. */
import type { Handle } from 'pkcs11js';
import type { Signer } from '../../cose/index.ts';
import { type PublicKey, readPublicKey, sha256, verifySignature } from '../../crypto/index.ts';
import { der, readDer } from '../../x509/index.ts';
import { requireSigningType, type SigningKeyType, signingAlgorithm } from '../algorithms.ts';
import { KeyError } from '../error.ts';
import type { AttributeEvidence } from '../evidence.ts';
import { faultySignature } from '../software.ts';
import { firstTaken, readBack, requireStrong, SIGNING_KEY, SIGNING_KEY_RULES } from './attributes.ts';
import { CK } from './constants.ts';
import { locate, type NewPlace, tracked } from './locate.ts';
import { type Attributes, type TokenSession, templateOf } from './session.ts';
import type { TokenUri } from './uri.ts';

const CURVES = {
  p256: {
    oid: '1.2.840.10045.3.1.7',
    keyType: CK.keyTypeEc,
    generate: CK.ecKeyPairGen,
    sign: CK.ecdsa,
    pointLength: 65,
    algorithm: der.sequence(der.oid('1.2.840.10045.2.1'), der.oid('1.2.840.10045.3.1.7')),
  },
  ed25519: {
    oid: '1.3.101.112',
    keyType: CK.keyTypeEdwards,
    generate: CK.edwardsKeyPairGen,
    sign: CK.eddsa,
    pointLength: 32,
    algorithm: der.sequence(der.oid('1.3.101.112')),
  },
} as const;
const SIGNATURE_LENGTH = 64;

/** A key pair made in the token: its public half, and its attributes as read back. */
export interface MadePair {
  readonly publicKey: PublicKey;
  readonly attributes: readonly AttributeEvidence[];
}

/**
 * Makes a key pair in the token. `pinEachTime`: every signature asks for the PIN again, where the token can
 * do that; the attributes read back say whether it does. A pair that does not read back as it must is
 * destroyed. Throws `KeyError` token-key-weak, token-mechanism, token-failed.
 */
export function generatePair(
  session: TokenSession,
  place: NewPlace,
  type: SigningKeyType,
  pinEachTime: boolean,
): MadePair {
  const curve = CURVES[type];
  const name: Attributes = { CKA_LABEL: place.label, CKA_ID: place.id };
  const shared: Attributes = {
    CKA_EC_PARAMS: der.oid(curve.oid),
    CKA_TOKEN: true,
    CKA_PRIVATE: false,
    CKA_VERIFY: true,
  };
  const strict: Attributes = {
    CKA_ALLOWED_MECHANISMS: curve.sign,
    ...(pinEachTime && { CKA_ALWAYS_AUTHENTICATE: true }),
  };
  const pair = session.attempt((handle) =>
    firstTaken([strict, pinEachTime ? { CKA_ALWAYS_AUTHENTICATE: true } : {}, {}], (extra) =>
      session.cryptoki.C_GenerateKeyPair(
        handle,
        { mechanism: curve.generate },
        templateOf({ ...shared, ...name }),
        templateOf({ ...SIGNING_KEY, ...name, ...extra }),
      ),
    ),
  );
  try {
    const attributes = readBack(session, pair.privateKey, SIGNING_KEY_RULES);
    requireStrong(attributes, session.label);
    return { publicKey: readSpki(session, pair.publicKey, type), attributes };
  } catch (error) {
    destroyPair(session, pair);
    throw error;
  }
}

/**
 * Signer over a private key in the token. ECDSA gets the SHA-256 of the message (CKM_ECDSA), EdDSA the
 * message. Each signature is verified with `publicKey`, the key on record, before it is given out. Throws
 * `KeyError`.
 */
export function openPair(session: TokenSession, uri: TokenUri, publicKey: PublicKey): Signer {
  const type = requireSigningType(publicKey.type);
  const curve = CURVES[type];
  const find = () => locate(session, uri, { CKA_CLASS: CK.classPrivateKey, CKA_KEY_TYPE: curve.keyType });
  const key = tracked(session, find);
  requireStrong(inspectPair(session, uri), session.label);
  return {
    algorithm: signingAlgorithm(type),
    publicKey: publicKey.spki,
    async sign(message) {
      const data = type === 'p256' ? sha256(message) : message;
      const signature = await session.sign(key, curve.sign, data, SIGNATURE_LENGTH);
      if (verifySignature(publicKey, message, signature)) return signature;
      throw faultySignature();
    },
  };
}

/** Attributes of a private key in the token, as they stand. */
export function inspectPair(session: TokenSession, uri: TokenUri): AttributeEvidence[] {
  return readBack(session, locate(session, uri, { CKA_CLASS: CK.classPrivateKey }), SIGNING_KEY_RULES);
}

function readSpki(session: TokenSession, publicObject: Handle, type: SigningKeyType): PublicKey {
  const { algorithm, pointLength } = CURVES[type];
  const point = barePoint(session.read(publicObject, 'CKA_EC_POINT') ?? new Uint8Array(), pointLength);
  const key = point && readPublicKey(der.sequence(algorithm, der.bitString(point)));
  if (key) return key;
  throw new KeyError(
    'token-failed',
    `The token ${session.label} gave a public key that is not one of this kind.`,
    'Report it to its maker; make the key in another token or in a file.',
  );
}

// The point comes as a DER OCTET STRING; some modules give it bare.
function barePoint(value: Uint8Array, length: number): Uint8Array | undefined {
  if (value.length === length) return value;
  try {
    const inner = readDer(value, (reader) => reader.octetString());
    return inner.length === length ? inner : undefined;
  } catch {
    return undefined;
  }
}

/** Takes a pair that must not be used out of the token. */
export function destroyPair(
  session: TokenSession,
  pair: { readonly privateKey: Handle; readonly publicKey: Handle },
): void {
  for (const object of [pair.privateKey, pair.publicKey]) {
    session.attempt((handle) => session.cryptoki.C_DestroyObject(handle, object));
  }
}

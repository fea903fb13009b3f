import { type CborItem, type CborMapping, lookUp } from '../cbor/index.ts';
import {
  ed25519Spki,
  hssSpki,
  type KeyType,
  p256Spki,
  readPublicKey,
  readSoundKey,
} from '../crypto/index.ts';
import { signatureAlgorithm } from './algorithms.ts';
import { CoseError } from './error.ts';
import { labelOf } from './labels.ts';

/** A key read from a COSE_Key. Private parts are not taken over. */
export type CoseKey = { readonly keyId: Uint8Array | undefined } & (
  | { readonly type: KeyType; readonly spki: Uint8Array }
  | { readonly type: 'symmetric'; readonly key: Uint8Array }
);

/** COSE_Key common and type-specific labels (RFC 9052 section 7.1, RFC 9053 section 7, RFC 8778 section 6.3). */
const KEY = { kty: 1, kid: 2, alg: 3, curve: -1, x: -2, y: -3, symmetric: -1, hssPublic: -1 } as const;
const KTY = { okp: 1, ec2: 2, symmetric: 4, hssLms: 5 } as const;
const CURVE = { p256: 1, ed25519: 6 } as const;
const COORDINATE_LENGTH = 32;

/**
 * Reads a decoded COSE_Key: P-256 (point compressed or not, checked to lie on the curve), Ed25519 and HSS/LMS give DER
 * SubjectPublicKeyInfo, symmetric keys their bytes. Throws `CoseError`. RFC 9052 section 7, RFC 9053 section 7, RFC 8778
 * section 3.
 */
export function readCoseKey(item: CborItem): CoseKey {
  if (item.type !== 'map') throw new CoseError('key-malformed', item.start);
  const keyId = optionalBytes(item, KEY.kid);
  switch (integerAt(item, KEY.kty)) {
    case KTY.ec2:
      return { keyId, type: 'p256', spki: requireAlgorithm(item, 'p256', readP256(item)) };
    case KTY.okp:
      return { keyId, type: 'ed25519', spki: requireAlgorithm(item, 'ed25519', readEd25519(item)) };
    case KTY.hssLms:
      return { keyId, type: 'hss-lms', spki: requireAlgorithm(item, 'hss-lms', readHss(item)) };
    case KTY.symmetric:
      return { keyId, type: 'symmetric', key: bytesAt(item, KEY.symmetric) };
    default:
      throw new CoseError('key-unsupported', item.start);
  }
}

function readP256(map: CborMapping): Uint8Array {
  if (integerAt(map, KEY.curve) !== CURVE.p256) throw new CoseError('key-unsupported', map.start);
  const spki = p256Spki(coordinateAt(map, KEY.x), readY(map));
  if (!spki) throw new CoseError('key-malformed', map.start);
  return spki;
}

/** The second coordinate, or its sign bit in a compressed point (RFC 9053 section 7.1.1). */
function readY(map: CborMapping): Uint8Array | boolean {
  const y = lookUp(map, KEY.y);
  return y?.type === 'simple' && typeof y.value === 'boolean' ? y.value : coordinateAt(map, KEY.y);
}

function readEd25519(map: CborMapping): Uint8Array {
  if (integerAt(map, KEY.curve) !== CURVE.ed25519) throw new CoseError('key-unsupported', map.start);
  const spki = ed25519Spki(coordinateAt(map, KEY.x));
  if (!readSoundKey(spki)) throw new CoseError('key-malformed', map.start);
  return spki;
}

function readHss(map: CborMapping): Uint8Array {
  const spki = hssSpki(bytesAt(map, KEY.hssPublic));
  if (!spki || !readPublicKey(spki)) throw new CoseError('key-malformed', map.start);
  return spki;
}

/** A key that names an algorithm is for that one only (RFC 9052 section 7.1, alg). */
function requireAlgorithm(map: CborMapping, type: KeyType, spki: Uint8Array): Uint8Array {
  const named = lookUp(map, KEY.alg);
  const label = named && labelOf(named);
  if (named && (typeof label !== 'number' || signatureAlgorithm(label)?.keyType !== type)) {
    throw new CoseError('key-unsupported', named.start);
  }
  return spki;
}

function integerAt(map: CborMapping, label: number): number | bigint {
  const item = lookUp(map, label);
  if (item?.type !== 'uint' && item?.type !== 'nint') throw new CoseError('key-malformed', map.start);
  return item.value;
}

function bytesAt(map: CborMapping, label: number): Uint8Array {
  const bytes = optionalBytes(map, label);
  if (!bytes) throw new CoseError('key-malformed', map.start);
  return bytes;
}

function optionalBytes(map: CborMapping, label: number): Uint8Array | undefined {
  const item = lookUp(map, label);
  if (item && item.type !== 'bytes') throw new CoseError('key-malformed', item.start);
  return item?.value;
}

function coordinateAt(map: CborMapping, label: number): Uint8Array {
  const bytes = bytesAt(map, label);
  if (bytes.length !== COORDINATE_LENGTH) throw new CoseError('key-malformed', map.start);
  return bytes;
}

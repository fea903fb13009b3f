import { type CborItem, CborMap, type CborMapping, type CborValue, lookUp } from '../../cbor/index.ts';
import {
  type AgreementPublicKey,
  p256Spki,
  type publicCoordinates,
  readAgreementKey,
  x25519Spki,
} from '../../crypto/index.ts';
import type { AgreementAlgorithm } from './algorithms.ts';

/** COSE_Key labels (RFC 9052 section 7.1, RFC 9053 sections 7.1 and 7.2). */
const KEY = { kty: 1, alg: 3, keyOps: 4, curve: -1, x: -2, y: -3 } as const;
const KTY = { okp: 1, ec2: 2 } as const;
const CURVE = { p256: 1, x25519: 4 } as const;
const COORDINATE_LENGTH = 32;

/** The COSE_Key of coordinates of 32 bytes: P-256 uncompressed as EC2, X25519, which has no y, as OKP. */
export function agreementCoseKey({ x, y }: ReturnType<typeof publicCoordinates>): CborMap {
  const entries: [CborValue, CborValue][] = y
    ? [
        [KEY.kty, KTY.ec2],
        [KEY.curve, CURVE.p256],
        [KEY.x, x],
        [KEY.y, y],
      ]
    : [
        [KEY.kty, KTY.okp],
        [KEY.curve, CURVE.x25519],
        [KEY.x, x],
      ];
  return new CborMap(entries);
}

/**
 * Reads the ephemeral COSE_Key of a recipient: P-256, point compressed or not and on the curve, or X25519. `undefined` for
 * anything else, and for a key that says it is for another use (RFC 9053 section 6.3.1).
 */
export function readEphemeralKey(
  item: CborItem | undefined,
  algorithm: AgreementAlgorithm,
): AgreementPublicKey | undefined {
  if (item?.type !== 'map' || !isFor(item, algorithm)) return undefined;
  const spki = spkiOf(item);
  return spki && readAgreementKey(spki);
}

/** alg, if there, is the agreement's; key_ops, if there, is empty for a public key (RFC 9053 section 6.3.1). */
function isFor(map: CborMapping, algorithm: AgreementAlgorithm): boolean {
  const operations = lookUp(map, KEY.keyOps);
  if (operations && (operations.type !== 'array' || operations.items.length > 0)) return false;
  return !lookUp(map, KEY.alg) || integerAt(map, KEY.alg) === algorithm.id;
}

function spkiOf(map: CborMapping): Uint8Array | undefined {
  const x = coordinateAt(map, KEY.x);
  const form = `${integerAt(map, KEY.kty)} ${integerAt(map, KEY.curve)}`;
  if (form === `${KTY.okp} ${CURVE.x25519}`) return x && x25519Spki(x);
  if (form !== `${KTY.ec2} ${CURVE.p256}`) return undefined;
  const y = signOrCoordinate(map);
  return x && y !== undefined ? p256Spki(x, y) : undefined;
}

function signOrCoordinate(map: CborMapping): Uint8Array | boolean | undefined {
  const y = lookUp(map, KEY.y);
  return y?.type === 'simple' && typeof y.value === 'boolean' ? y.value : coordinateAt(map, KEY.y);
}

function integerAt(map: CborMapping, label: number): number | undefined {
  const item = lookUp(map, label);
  return item?.type === 'uint' || item?.type === 'nint' ? Number(item.value) : undefined;
}

function coordinateAt(map: CborMapping, label: number): Uint8Array | undefined {
  const item = lookUp(map, label);
  return item?.type === 'bytes' && item.value.length === COORDINATE_LENGTH ? item.value : undefined;
}

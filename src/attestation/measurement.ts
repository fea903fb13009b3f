import { type ByteSource, eachPiece } from '../bytes/index.ts';
import { CborMap, encode } from '../cbor/index.ts';
import { startSha256 } from '../crypto/index.ts';
import { ATTESTATION_LIMITS } from './limits.ts';
import { bytesOf, countOf, decodeBounded, elementsOf, required, textOf } from './read-item.ts';

/** CoAP content format application/cbor (RFC 8949 section 9.5); which CBOR it is, the profile of the token says. */
export const MEASUREMENT_FORMAT = 60;

const KEY = { area: 1, address: 2, length: 3, digest: 4, manifest: 5 } as const;
const DIGEST_LENGTH = 32;

/** What was measured of one region. */
export interface RegionMeasurement {
  /** Area of the memory map: the name of a slot, or `recovery`. */
  readonly area: string;
  readonly address: number;
  /** Bytes. */
  readonly length: number;
  /** SHA-256 over the nonce and then the content, 32 bytes. */
  readonly digest: Uint8Array;
  /** The manifest whose image lies there, as the marks of the unit say; undefined for the recovery image. */
  readonly manifestDigest: Uint8Array | undefined;
}

/**
 * SHA-256 over the nonce and then every byte of the content, 32 bytes. Who does not have the content when the nonce
 * comes cannot tell it: a digest that was stored before is of no use.
 */
export function measure(nonce: Uint8Array, content: ByteSource): Uint8Array {
  const hash = startSha256();
  hash.update(nonce);
  eachPiece(content, (piece) => hash.update(piece));
  return hash.digest();
}

/** The body of a measurement, in deterministic CBOR. */
export function writeMeasurement({
  area,
  address,
  length,
  digest,
  manifestDigest,
}: RegionMeasurement): Uint8Array {
  return encode(
    new CborMap([
      [KEY.area, area],
      [KEY.address, address],
      [KEY.length, length],
      [KEY.digest, digest],
      ...(manifestDigest ? [[KEY.manifest, manifestDigest] as const] : []),
    ]),
  );
}

/** Reads the body of a measurement of this profile. Throws `AttestationError`. */
export function readMeasurement(body: Uint8Array): RegionMeasurement {
  const item = decodeBounded(body, ATTESTATION_LIMITS.tokenSize);
  const elements = elementsOf(item, 'a measurement');
  const manifest = elements.get(KEY.manifest);
  return {
    area: textOf(required(elements, KEY.area, item, 'the area'), 'the area'),
    address: countOf(required(elements, KEY.address, item, 'the address'), 'the address'),
    length: countOf(required(elements, KEY.length, item, 'the length'), 'the length'),
    digest: bytesOf(required(elements, KEY.digest, item, 'the digest'), 'the digest', DIGEST_LENGTH),
    manifestDigest: manifest && bytesOf(manifest, 'the manifest digest', DIGEST_LENGTH),
  };
}

import { type CborItem, CborMap, encode } from '../cbor/index.ts';
import { AttestationError } from './error.ts';
import { ATTESTATION_LIMITS, NONCE_BYTES } from './limits.ts';
import { bytesOf, countOf, decodeBounded, elementsOf, listOf, required, textOf } from './read-item.ts';
import type { RegionRequest } from './regions.ts';

/** What a verifier asks one unit (docs/attestation.md has the CDDL). */
export interface Challenge {
  /** Fresh, 8 to 64 bytes (RFC 9711 section 4.1). */
  readonly nonce: Uint8Array;
  /** The unit that is asked, 16 bytes: another one does not answer. */
  readonly deviceId: Uint8Array;
  readonly region: RegionRequest;
}

const VERSION = 1;
const KEY = { version: 1, nonce: 2, deviceId: 3, region: 4 } as const;
const KEYS: ReadonlySet<number | bigint> = new Set(Object.values(KEY));
const DEVICE_ID_LENGTH = 16;

/** A challenge as it is sent: deterministic CBOR. */
export function writeChallenge({ nonce, deviceId, region }: Challenge): Uint8Array {
  return encode(
    new CborMap([
      [KEY.version, VERSION],
      [KEY.nonce, nonce],
      [KEY.deviceId, deviceId],
      [KEY.region, 'name' in region ? region.name : [region.address, region.length]],
    ]),
  );
}

/** Reads a challenge strictly: every element known, of its type and there. Throws `AttestationError` and nothing else. */
export function readChallenge(bytes: Uint8Array): Challenge {
  const item = decodeBounded(bytes, ATTESTATION_LIMITS.challengeSize);
  const elements = elementsOf(item, 'a challenge');
  const version = countOf(required(elements, KEY.version, item, 'the version'), 'the version');
  if (version !== VERSION) {
    throw new AttestationError(
      'element-unknown',
      item.start,
      `version ${version}; this one reads ${VERSION}`,
    );
  }
  for (const key of elements.keys()) {
    if (KEYS.has(key)) continue;
    throw new AttestationError('element-unknown', item.start, `a challenge has no element ${key}`);
  }
  const { least, most } = NONCE_BYTES;
  const nonce = required(elements, KEY.nonce, item, 'the nonce');
  const deviceId = required(elements, KEY.deviceId, item, 'the device identifier');
  return {
    nonce: bytesOf(nonce, 'the nonce', least, most),
    deviceId: bytesOf(deviceId, 'the device identifier', DEVICE_ID_LENGTH),
    region: readRegion(required(elements, KEY.region, item, 'the region')),
  };
}

function readRegion(item: CborItem): RegionRequest {
  if (item.type === 'text') return { name: textOf(item, 'the name of a region') };
  const [address, length] = listOf(item, 'a region', 2, 2);
  return {
    address: countOf(address!, 'the address of a region'),
    length: countOf(length!, 'the length of a region'),
  };
}

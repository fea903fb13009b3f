import { concat, fromHex, fromUtf8, toHex } from '../bytes/index.ts';
import { sha1ForNames } from '../crypto/index.ts';

/** Namespace of domain names (RFC 9562 section 6.6). */
export const NAMESPACE_DNS = '6ba7b810-9dad-11d1-80b4-00c04fd430c8';
/** Namespace of object identifiers (RFC 9562 section 6.6). */
export const NAMESPACE_OID = '6ba7b812-9dad-11d1-80b4-00c04fd430c8';

const TEXT_FORM = /^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/i;

/** Text form of a 16-byte UUID, lower case (RFC 9562 section 4). Throws `TypeError` on another length. */
export function formatUuid(bytes: Uint8Array): string {
  if (bytes.length !== 16) throw new TypeError(`a UUID has 16 bytes, not ${bytes.length}`);
  const hex = toHex(bytes);
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join('-');
}

/** The 16 bytes of a UUID in text form (RFC 9562 section 4). Throws `TypeError` on anything else. */
export function parseUuid(text: string): Uint8Array {
  if (!TEXT_FORM.test(text)) {
    throw new TypeError(`'${text}' is no UUID: expected hexadecimal digits grouped 8-4-4-4-12`);
  }
  return fromHex(text.replaceAll('-', ''));
}

/** Version 5 UUID, 16 bytes: SHA-1 over the namespace's 16 bytes and the name (RFC 9562 section 5.5). */
export function uuidV5(namespace: Uint8Array | string, name: Uint8Array | string): Uint8Array {
  const space = typeof namespace === 'string' ? parseUuid(namespace) : namespace;
  if (space.length !== 16) throw new TypeError(`a namespace has 16 bytes, not ${space.length}`);
  const digest = sha1ForNames(concat(space, typeof name === 'string' ? fromUtf8(name) : name));
  const uuid = digest.slice(0, 16);
  uuid[6] = (uuid[6]! & 0x0f) | 0x50;
  uuid[8] = (uuid[8]! & 0x3f) | 0x80;
  return uuid;
}

/** Vendor identifier of a domain name, taken as UTF-8 without further mapping ([M] section 8.4.8.2). */
export function vendorId(domain: string): Uint8Array {
  return uuidV5(NAMESPACE_DNS, domain);
}

/** Class identifier under a vendor: name is the class-specific information, such as a model ([M] 8.4.8.2). */
export function classId(vendor: Uint8Array, modelText: Uint8Array | string): Uint8Array {
  return uuidV5(vendor, modelText);
}

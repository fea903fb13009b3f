import { MAXIMUM_SECURITY_VERSION } from '../unit/index.ts';
import { SealError } from './error.ts';
import type { SealRequest } from './request.ts';

const LONGEST_VERSION = 64;
const LONGEST_URI = 512;

/** Refuses a request that no payload should be made of, before any file is read. Throws `SealError`. */
export function requireSensible(request: SealRequest): void {
  requireVersion(request.version);
  requireSecurityVersion(request.securityVersion ?? 0);
  requireUris(request);
  if (request.deviceId !== undefined && request.deviceId.length !== 16) {
    throw new SealError('device-wrong', 'a device identifier has 16 bytes', 'take it from the unit record');
  }
}

function requireVersion(version: string): void {
  if (
    version.trim() === version &&
    version.length > 0 &&
    version.length <= LONGEST_VERSION &&
    !/\p{C}/u.test(version)
  )
    return;
  throw new SealError(
    'version-text',
    `${JSON.stringify(version)} is no version text: 1 to ${LONGEST_VERSION} printable characters without blanks around them`,
    'for example --version 1.4.0',
  );
}

function requireSecurityVersion(version: number): void {
  if (Number.isSafeInteger(version) && version >= 0 && version <= MAXIMUM_SECURITY_VERSION) return;
  throw new SealError(
    'security-version',
    `${version} is no security version: units hold a whole number from 0 to ${MAXIMUM_SECURITY_VERSION}`,
    'raise it by one, and only when a flaw must never come back',
  );
}

function requireUris({ images, detached }: SealRequest): void {
  for (const { uri } of images) {
    if (uri === undefined) continue;
    if (!detached)
      throw new SealError(
        'uri-wrong',
        'an image inside the envelope has no place of its own',
        'add --detached, or leave --uri out',
      );
    if (uri.length > 0 && uri.length <= LONGEST_URI && !uri.startsWith('#') && !/[\s\p{C}]/u.test(uri))
      continue;
    throw new SealError(
      'uri-wrong',
      `${JSON.stringify(uri)} is no place to fetch an image from`,
      `give a URI of at most ${LONGEST_URI} characters that does not begin with '#'`,
    );
  }
}

import { fromUtf8 } from '../../bytes/index.ts';
import { heldMacKey, LABEL, type MacKey, type Signer, sealMac0, sealSign1 } from '../../cose/index.ts';
import { type Announcement, encodeAnnouncement } from './announcement.ts';

/** What the protected header says that the content is; nothing else that is signed here says so. */
export const ANNOUNCEMENT_TYPE = 'application/vnd.fieldseal.announcement+cbor';

/**
 * What the key of announcements is made from, of the class or cohort key: one block of the key derivation in counter mode
 * of NIST SP 800-108r1 section 4.1 over HMAC-SHA-256 (counter 1, label, zero byte, no context, 256 bits). A token does
 * it without giving the class key away, and what a unit holds for announcements makes no release.
 */
const DERIVATION = new Uint8Array([0, 0, 0, 1, ...fromUtf8('fieldseal announcement 1'), 0, 0, 0, 1, 0]);

/** A signer of announcements: its certificates go along, leaf first, without the root. */
export interface AnnouncementSigner {
  readonly signer: Signer;
  readonly chain: readonly Uint8Array[];
}

/** Signs an announcement: COSE_Sign1 (RFC 9052 section 4.2) with its payload inside. */
export function signAnnouncement(
  announcement: Announcement,
  { signer, chain }: AnnouncementSigner,
): Promise<Uint8Array> {
  return sealSign1(signer, {
    payload: encodeAnnouncement(announcement),
    attached: true,
    protectedHeaders: [
      [LABEL.contentType, ANNOUNCEMENT_TYPE],
      [LABEL.x5chain, chain.length === 1 ? chain[0]! : [...chain]],
    ],
  });
}

/** MACs an announcement: COSE_Mac0 (RFC 9052 section 6.2) under the key derived for announcements. */
export async function macAnnouncement(announcement: Announcement, key: MacKey): Promise<Uint8Array> {
  const derived = heldMacKey(key.keyId, await key.mac(DERIVATION));
  return sealMac0(derived, {
    payload: encodeAnnouncement(announcement),
    attached: true,
    protectedHeaders: [[LABEL.contentType, ANNOUNCEMENT_TYPE]],
  });
}

/** The same derivation, where the class or cohort key is at hand. */
export function announcementKey(mac: (message: Uint8Array) => Uint8Array): Uint8Array {
  return mac(DERIVATION);
}

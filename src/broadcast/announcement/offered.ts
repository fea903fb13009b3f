import { type CborItem, CborMap } from '../../cbor/index.ts';
import { field, fixed, list, mapOf, number, text, whole } from './items.ts';

/** A file that is offered: what it is, how long it is, and where it may be fetched. */
export interface OfferedFile {
  /** SHA-256 of its bytes, 32 bytes. It is what is believed; the address is only where to look. */
  readonly digest: Uint8Array;
  readonly size: number;
  /** Absolute, or relative to where the announcement came from. */
  readonly uri: string;
}

/** A release that is offered. */
export interface Offer {
  /** Digest of its manifest, 32 bytes: an envelope with another manifest is not what was announced. */
  readonly manifestDigest: Uint8Array;
  readonly sequenceNumber: bigint;
  readonly envelope: OfferedFile;
  /** Images that lie beside the envelope. */
  readonly images: readonly OfferedFile[];
}

const OFFER = { manifestDigest: 1, sequenceNumber: 2, envelope: 3, images: 4 } as const;
const FILE = { digest: 1, size: 2, uri: 3 } as const;
const DIGEST_LENGTH = 32;
const MOST_IMAGES = 8;
const LONGEST_URI = 512;

export function encodeOffer({ manifestDigest, sequenceNumber, envelope, images }: Offer): CborMap {
  return new CborMap([
    [OFFER.manifestDigest, manifestDigest],
    [OFFER.sequenceNumber, sequenceNumber],
    [OFFER.envelope, encodeFile(envelope)],
    [OFFER.images, images.map(encodeFile)],
  ]);
}

function encodeFile({ digest, size, uri }: OfferedFile): CborMap {
  return new CborMap([
    [FILE.digest, digest],
    [FILE.size, size],
    [FILE.uri, uri],
  ]);
}

/** Throws `AnnouncementFault`. */
export function readOffer(item: CborItem): Offer {
  const map = mapOf(item, OFFER, 'offer');
  return {
    manifestDigest: fixed(field(map, OFFER.manifestDigest), DIGEST_LENGTH),
    sequenceNumber: whole(field(map, OFFER.sequenceNumber)),
    envelope: readFile(field(map, OFFER.envelope)),
    images: list(field(map, OFFER.images), MOST_IMAGES).map(readFile),
  };
}

function readFile(item: CborItem): OfferedFile {
  const map = mapOf(item, FILE, 'file');
  return {
    digest: fixed(field(map, FILE.digest), DIGEST_LENGTH),
    size: number(map, FILE.size),
    uri: text(field(map, FILE.uri), LONGEST_URI),
  };
}

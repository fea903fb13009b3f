import { type ByteSource, eachPiece } from '../../bytes/index.ts';
import {
  type ContentAlgorithm,
  type ContentKey,
  contentAlgorithm,
  type EncryptionRefusal,
  type InfoVerdict,
  openEncryptionInfo,
  SUIT_PAYLOAD_ENCRYPTION,
  startDecrypt,
} from '../../cose/index.ts';
import { equalInConstantTime, startSha256 } from '../../crypto/index.ts';
import { unitProfile } from '../profiles.ts';
import type { RefusalCode } from '../refusals.ts';
import type { UnitView } from '../state.ts';
import type { Trace } from '../trace.ts';
import type { NamedImage } from './fit.ts';
import { digestOfSource } from './image.ts';

/** How the manifest has an image decrypted. */
export interface Encryption {
  /** SUIT_Encryption_Info: COSE_Encrypt with tag 96 and nil ciphertext. */
  readonly info: Uint8Array;
  /** On the way into the free slot, or by the boot code on the way out of the staging area. */
  readonly at: 'install' | 'start';
  /** SHA-256 of the ciphertext, 32 bytes, where the manifest compares it before decrypting. */
  readonly digest: Uint8Array | undefined;
  /** Length of the ciphertext in bytes, where the manifest states it. */
  readonly size: number | undefined;
}

/** A ciphertext that can be decrypted here. */
export interface Ciphertext {
  readonly at: Encryption['at'];
  /** Overwritten by whoever decided. */
  readonly content: ContentKey;
  readonly digest: Uint8Array | undefined;
  /** Bytes, the tag included. */
  readonly size: number;
  /** The image that comes out. */
  readonly image: NamedImage;
}

const SOURCE = 'draft-ietf-suit-firmware-encryption 4, 5; draft-ietf-suit-mti 5.2';
const PIECE = 1 << 18;

/** The one content algorithm that a unit takes. */
export function contentAlgorithmOf({ record }: Pick<UnitView, 'record'>): ContentAlgorithm {
  return contentAlgorithm(unitProfile(record.profile)!.content)!;
}

/** Opens the content key of an encryption info with the keys of the unit, under its profile's algorithm only. */
export function openInfo(info: Uint8Array, unit: Pick<UnitView, 'record' | 'unwrappers'>): InfoVerdict {
  const algorithms = [contentAlgorithmOf(unit)];
  return openEncryptionInfo(info, unit.unwrappers ?? [], { algorithms, other: SUIT_PAYLOAD_ENCRYPTION });
}

/**
 * The rest of step 8 for an encrypted image, before anything is fetched or written: the unit is among the recipients, the
 * content key opens, the algorithm is the profile's, and what waits in a staging area has a digest of its own.
 */
export function judgeEncryption(
  trace: Trace,
  encryption: Encryption,
  image: NamedImage,
  unit: UnitView,
): Ciphertext {
  const { name, tagLength } = contentAlgorithmOf(unit);
  const { at, digest } = encryption;
  if (at === 'start' && !digest) {
    trace.refuse('ciphertext-digest-missing', {
      what: 'digest of the ciphertext in the staging area',
      expected: 'compared before the copy that decrypts',
      found: 'none',
      source: 'draft-ietf-suit-firmware-encryption 4.3, 7.2; RFC 9459 8',
    });
  }
  const verdict = openInfo(encryption.info, unit);
  const question = {
    what: 'content key of the image',
    expected: `sent to this unit, for ${name}`,
    source: SOURCE,
  };
  if (!verdict.ok) return trace.refuse(codeOf(verdict.code), question, verdict.detail);
  trace.holds(question, `it opens; decrypted ${at === 'start' ? 'at start' : 'on the fly'}`);
  try {
    const size = image.size + tagLength;
    requireLength(trace, encryption, size, unit);
    return { at, content: verdict.content, digest, size, image };
  } catch (error) {
    verdict.content.key.fill(0);
    throw error;
  }
}

/** The length follows from the image and the algorithm; what waits in a staging area fits there. */
function requireLength(
  trace: Trace,
  { at, size: stated }: Encryption,
  size: number,
  { record }: UnitView,
): void {
  trace.require((stated ?? size) === size, 'ciphertext-length-wrong', {
    what: 'length of the ciphertext in bytes',
    expected: () => `${size}, the image and the tag of the algorithm`,
    found: stated ?? 'not stated',
    source: SOURCE,
  });
  const staging = record.memory.slots[1]!;
  if (at === 'install' || size <= staging.size) return;
  trace.refuse('ciphertext-length-wrong', {
    what: 'length of the ciphertext in bytes',
    expected: `at most ${staging.size}, the size of ${staging.name}`,
    found: size,
    source: 'RFC 9124 4.3.6',
  });
}

const CODES: Partial<Record<string, RefusalCode>> = {
  'alg-unprotected': 'encryption-algorithm-not-allowed',
  'alg-unsupported': 'encryption-algorithm-not-allowed',
  'alg-not-permitted': 'encryption-algorithm-not-allowed',
  'recipient-unsupported': 'recipient-missing',
  'recipient-absent': 'recipient-missing',
  'content-key-wrong': 'content-key-wrong',
  'content-key-length': 'content-key-wrong',
  'ephemeral-key-wrong': 'content-key-wrong',
} satisfies Partial<Record<EncryptionRefusal, RefusalCode>>;

function codeOf(code: string): RefusalCode {
  return CODES[code] ?? 'encryption-info-wrong';
}

/** Before decrypting: exactly the announced length, and the digest where one is named. Step 8 is open. */
export function judgeCiphertext(trace: Trace, ciphertext: Ciphertext, source: ByteSource): void {
  judgeCiphertextLength(trace, ciphertext, source);
  if (ciphertext.digest) judgeCiphertextDigest(trace, ciphertext.digest, digestOfSource(source), 'at hand');
}

/** A ciphertext of another length is refused before a slot is touched. Step 8 is open. */
export function judgeCiphertextLength(trace: Trace, ciphertext: Ciphertext, source: ByteSource): void {
  trace.require(source.size === ciphertext.size, 'ciphertext-length-wrong', {
    what: 'length of the ciphertext at hand',
    expected: ciphertext.size,
    found: source.size,
    source: 'RFC 9124 4.3.15',
  });
}

/** The comparison that comes before every decryption where it can (RFC 9459 section 8). */
export function judgeCiphertextDigest(
  trace: Trace,
  expected: Uint8Array,
  found: Uint8Array,
  where: string,
): void {
  trace.require(equalInConstantTime(found, expected), 'ciphertext-digest-wrong', {
    what: `SHA-256 of the ciphertext ${where}, compared in constant time before it is decrypted`,
    expected,
    found,
    source: 'draft-ietf-suit-firmware-encryption 4.3, 7.2; RFC 9459 8',
  });
}

/** Decrypts to nowhere: the tag, and the digest of what comes out. Ends step 8 and judges step 9. */
export function judgeDecrypted(trace: Trace, { content, image }: Ciphertext, source: ByteSource): void {
  const hash = startSha256();
  const sink = { write: (piece: Uint8Array) => hash.update(piece), commit() {}, discard() {} };
  const by = content.algorithm.mode === 'aead' ? 'tag' : 'read-back';
  const running = startDecrypt(content, sink, { by });
  eachPiece(source, (piece) => running.update(piece), PIECE);
  const outcome = running.final();
  if (!outcome.ok) refuseDecryption(trace, outcome.detail);
  trace.enter('image');
  const found = hash.digest();
  trace.require(equalInConstantTime(found, image.digest), 'image-digest-wrong', {
    what: 'SHA-256 of the decrypted image, compared in constant time',
    expected: image.digest,
    found,
    source: 'draft-ietf-suit-manifest 8.4.9.2; draft-ietf-suit-firmware-encryption 4.3',
  });
}

/** A tag that does not fit. Step 8 is open. */
export function refuseDecryption(trace: Trace, found: string): never {
  return trace.refuse('decryption-failed', {
    what: 'decryption of the image',
    expected: 'a tag that fits',
    found,
    source: 'RFC 9053 4.1, 4.3; draft-ietf-suit-firmware-encryption 7.2',
  });
}

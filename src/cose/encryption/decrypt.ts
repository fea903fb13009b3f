import { concat } from '../../bytes/index.ts';
import {
  equalInConstantTime,
  type RunningAeadOpen,
  startAeadOpen,
  startAesCtr,
  startSha256,
} from '../../crypto/index.ts';
import type { ContentKey } from './content.ts';
import { type Refused, refused } from './refusals.ts';

/**
 * Where plaintext goes. Until `commit` it is unverified: an attacker may have chosen it. A sink keeps it apart, acts on none
 * of it, and lets it go at `discard`. One of the two is called, once, by `final`.
 */
export interface PlaintextSink {
  /** The next piece; `offset` counts from the start of the plaintext. The piece is the sink's to keep. */
  write(piece: Uint8Array, offset: number): void;
  commit(): void;
  discard(): void;
}

/**
 * What shows that the plaintext is the right one. An AEAD has its tag, and `tag` is enough. AES-CTR has nothing (RFC 9459
 * section 8), so its caller names what stands in: the ciphertext's digest, compared before decryption began; the plaintext's
 * SHA-256, which is compared here before anything is committed; or a digest that the caller compares itself over what it
 * reads back from the place it wrote to, before it is used.
 */
export type IntegrityBasis =
  | { readonly by: 'tag' }
  | { readonly by: 'ciphertext-digest' }
  | { readonly by: 'plaintext-digest'; readonly sha256: Uint8Array }
  | { readonly by: 'read-back' };

/** A decryption under way. Pieces may have any length; memory does not grow with the whole. */
export interface RunningDecryption {
  /** The next ciphertext, an AEAD's tag at its very end. */
  update(ciphertext: Uint8Array): void;
  /** Ends it: commits or discards what the sink was given. `length`: bytes written to the sink. */
  final(): { readonly ok: true; readonly length: number } | Refused;
}

/**
 * Starts a decryption into a sink. `offset`: where in the plaintext to begin, in bytes, to resume an AES-CTR decryption.
 * Throws `TypeError` where AES-CTR is to be taken on trust, an AEAD is to begin anywhere but at the start, or a digest
 * of the whole is to be compared with a part. What the sink throws passes through, and nothing is committed.
 */
export function startDecrypt(
  content: ContentKey,
  sink: PlaintextSink,
  integrity: IntegrityBasis,
  offset = 0,
): RunningDecryption {
  requireBasis(content, integrity, offset);
  const cipher = content.algorithm.mode === 'ctr' ? counterMode(content, offset) : authenticated(content);
  const check = integrity.by === 'plaintext-digest' ? digestCheck(integrity.sha256) : noDigest;
  let written = 0;
  const take = (piece: Uint8Array) => {
    if (piece.length === 0) return;
    check.update(piece);
    sink.write(piece, offset + written);
    written += piece.length;
  };
  return once({
    update: (ciphertext) => cipher.update(ciphertext, take),
    final() {
      const refusal = cipher.final() ?? check.final();
      if (refusal) sink.discard();
      else sink.commit();
      return refusal ? refused(refusal) : { ok: true, length: written };
    },
  });
}

/** Decrypts a ciphertext in memory. The plaintext appears only after its integrity has been shown. */
export function decryptWhole(
  content: ContentKey,
  ciphertext: Uint8Array,
  integrity: IntegrityBasis = { by: 'tag' },
): { readonly ok: true; readonly plaintext: Uint8Array } | Refused {
  const pieces: Uint8Array[] = [];
  const sink = { write: (piece: Uint8Array) => void pieces.push(piece), commit() {}, discard() {} };
  const running = startDecrypt(content, sink, integrity);
  running.update(ciphertext);
  const outcome = running.final();
  return outcome.ok ? { ok: true, plaintext: concat(...pieces) } : outcome;
}

type Failure = 'ciphertext-short' | 'ciphertext-changed';

interface PieceCipher {
  update(ciphertext: Uint8Array, take: (plaintext: Uint8Array) => void): void;
  final(): Failure | undefined;
}

function counterMode({ key, iv }: ContentKey, offset: number): PieceCipher {
  const cipher = startAesCtr(key, iv, offset);
  return {
    update: (ciphertext, take) => take(cipher.update(ciphertext)),
    final: () => undefined,
  };
}

function authenticated({ algorithm, key, iv, aad }: ContentKey): PieceCipher {
  if (algorithm.mode !== 'aead') throw new TypeError(`${algorithm.name} has no tag`);
  return withTrailingTag(startAeadOpen(algorithm.aead, key, iv, aad), algorithm.tagLength);
}

/** The last bytes so far may be the tag: they wait until more arrive. */
function withTrailingTag(cipher: RunningAeadOpen, tagLength: number): PieceCipher {
  let held: Uint8Array = new Uint8Array(0);
  return {
    update(ciphertext, take) {
      const spare = held.length + ciphertext.length - tagLength;
      const fromHeld = Math.max(0, Math.min(spare, held.length));
      const fromPiece = Math.max(0, spare - held.length);
      if (fromHeld > 0) take(cipher.update(held.subarray(0, fromHeld)));
      if (fromPiece > 0) take(cipher.update(ciphertext.subarray(0, fromPiece)));
      held = concat(held.subarray(fromHeld), ciphertext.subarray(fromPiece));
    },
    final() {
      if (held.length < tagLength) return 'ciphertext-short';
      return cipher.verify(held) ? undefined : 'ciphertext-changed';
    },
  };
}

const noDigest = { update() {}, final: () => undefined };

function digestCheck(expected: Uint8Array) {
  const hash = startSha256();
  return {
    update: (piece: Uint8Array) => hash.update(piece),
    final: () => (equalInConstantTime(hash.digest(), expected) ? undefined : ('plaintext-differs' as const)),
  };
}

function requireBasis({ algorithm }: ContentKey, integrity: IntegrityBasis, offset: number): void {
  if (algorithm.mode === 'ctr' && integrity.by === 'tag') {
    throw new TypeError(`${algorithm.name} has no tag: say what else shows that the plaintext is right`);
  }
  if (offset !== 0 && algorithm.mode === 'aead') {
    throw new TypeError(`${algorithm.name} decrypts from the start only: its tag is over the whole`);
  }
  if (offset !== 0 && integrity.by === 'plaintext-digest') {
    throw new TypeError('the digest of a whole plaintext cannot be compared with a part of it');
  }
}

/** A decryption that has ended, or whose sink failed, stays ended: going on would commit what was never written. */
function once(running: RunningDecryption): RunningDecryption {
  let ended = false;
  const enter = () => {
    if (ended) throw new TypeError('the decryption has ended: start another');
    ended = true;
  };
  return {
    update(ciphertext) {
      enter();
      running.update(ciphertext);
      ended = false;
    },
    final() {
      enter();
      return running.final();
    },
  };
}

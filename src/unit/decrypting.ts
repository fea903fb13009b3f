import { type ByteSource, concat, slice } from '../bytes/index.ts';
import { type ContentKey, startDecrypt } from '../cose/index.ts';

/** A ciphertext read as the plaintext it holds. */
export interface DecryptingSource extends ByteSource {
  /** Whether reading may begin in the middle, after an interruption. */
  readonly seeks: boolean;
  /** After the last read: undefined where the tag fits or there is none, or what is wrong. */
  finish(): string | undefined;
}

/**
 * The plaintext of a ciphertext, decrypted piece by piece as it is read, so that memory does not grow with the image. What
 * is read is unverified: whoever writes it reads it back and compares its digest, and asks `finish` before that. AES-CTR
 * may be read from anywhere (draft-ietf-suit-firmware-encryption section 8); an AEAD only once, in order.
 */
export function decryptingSource(ciphertext: ByteSource, content: ContentKey): DecryptingSource {
  const size = Math.max(0, ciphertext.size - content.algorithm.tagLength);
  return content.algorithm.mode === 'ctr'
    ? seeking(ciphertext, content, size)
    : inOrder(ciphertext, content, size);
}

function seeking(ciphertext: ByteSource, content: ContentKey, size: number): DecryptingSource {
  return {
    size,
    seeks: true,
    read(offset, length) {
      const pieces: Uint8Array[] = [];
      const running = startDecrypt(content, collecting(pieces), { by: 'read-back' }, offset);
      running.update(ciphertext.read(offset, length));
      running.final();
      return concat(...pieces);
    },
    finish: () => undefined,
  };
}

/** The last bytes so far may be the tag, so that the ciphertext is read ahead by its length. */
function inOrder(ciphertext: ByteSource, content: ContentKey, size: number): DecryptingSource {
  const pieces: Uint8Array[] = [];
  const running = startDecrypt(content, collecting(pieces), { by: 'tag' });
  const { tagLength } = content.algorithm;
  let position = 0;
  let fed = 0;
  const feedTo = (end: number) => {
    running.update(slice(ciphertext, fed, end - fed).read(0, end - fed));
    fed = end;
  };
  return {
    size,
    seeks: false,
    read(offset, length) {
      if (offset !== position) throw new RangeError('an authenticated ciphertext is read once, in order');
      feedTo(offset + length + tagLength);
      position += length;
      return concat(...pieces.splice(0));
    },
    finish() {
      feedTo(ciphertext.size);
      const outcome = running.final();
      return outcome.ok ? undefined : outcome.detail;
    },
  };
}

/** What the flash does not hold yet; the slot it goes to counts only after its digest was compared. */
function collecting(pieces: Uint8Array[]) {
  return { write: (piece: Uint8Array) => void pieces.push(piece), commit() {}, discard() {} };
}

import { createCipheriv } from 'node:crypto';
import { plainView, type RunningCipher } from './running-cipher.ts';

const BLOCK = 16;
const COUNTER_MODULUS = 1n << 128n;

/**
 * AES in counter mode from byte `offset` of the message on; encrypting and decrypting are the same (NIST SP 800-38A section
 * 6.5). `key`: 16, 24 or 32 bytes. `initialCounter`: the 16-byte counter block of byte 0, which counts up as one big-endian
 * number for every 16 bytes. Throws `RangeError` for other lengths or an offset that is no whole number.
 */
export function startAesCtr(key: Uint8Array, initialCounter: Uint8Array, offset = 0): RunningCipher {
  requireLengths(key, initialCounter, offset);
  const counter = counterAt(initialCounter, Math.floor(offset / BLOCK));
  const cipher = createCipheriv(`aes-${key.length * 8}-ctr`, key, counter);
  cipher.update(new Uint8Array(offset % BLOCK));
  return { update: (piece) => plainView(cipher.update(piece)) };
}

/** The counter block `blocks` further on, modulo 2^128 (NIST SP 800-38A appendix B.1). */
function counterAt(initialCounter: Uint8Array, blocks: number): Uint8Array {
  const start = BigInt(`0x${Buffer.from(initialCounter).toString('hex')}`);
  const counter = (start + BigInt(blocks)) % COUNTER_MODULUS;
  return new Uint8Array(Buffer.from(counter.toString(16).padStart(2 * BLOCK, '0'), 'hex'));
}

function requireLengths(key: Uint8Array, initialCounter: Uint8Array, offset: number): void {
  if (![16, 24, 32].includes(key.length)) {
    throw new RangeError(`an AES key has 16, 24 or 32 bytes, not ${key.length}`);
  }
  if (initialCounter.length !== BLOCK) {
    throw new RangeError(`a counter block has ${BLOCK} bytes, not ${initialCounter.length}`);
  }
  if (!Number.isSafeInteger(offset) || offset < 0) {
    throw new RangeError(`${offset} is no offset in bytes`);
  }
}

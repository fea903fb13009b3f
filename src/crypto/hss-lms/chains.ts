import { concat } from '../../bytes/index.ts';
import { sha256Into } from '../primitives.ts';
import type { OtsParameters } from './parameters.ts';

/** Which one-time key of which tree: its parameters, the tree's identifier I (16 bytes), the leaf number q. */
export interface OneTime {
  readonly set: OtsParameters;
  readonly identifier: Uint8Array;
  readonly leaf: number;
}

// Domain separators (RFC 8554 section 7.1).
const D_PBLC = 0x8080;
const D_MESG = 0x8181;
const D_LEAF = 0x8282;
const D_INTR = 0x8383;
const PREFIX_LENGTH = 22;
const VALUE_AT = PREFIX_LENGTH + 1;
const START_STEP = 0xff;

/** The base-2^w digits of the message hash, then those of its checksum (RFC 8554 sections 3.1.3 and 4.4). */
export function digitsOf(set: OtsParameters, messageHash: Uint8Array): number[] {
  const bytes = new Uint8Array(set.n + 2);
  bytes.set(messageHash);
  const top = lastStep(set);
  let sum = 0;
  for (let i = 0; i < (set.n * 8) / set.w; i++) sum += top - digit(bytes, i, set.w);
  new DataView(bytes.buffer).setUint16(set.n, sum << set.ls);
  return Array.from({ length: set.p }, (_, i) => digit(bytes, i, set.w));
}

/** The last step of a chain: 2^w - 1. */
export function lastStep(set: OtsParameters): number {
  return (1 << set.w) - 1;
}

/** Hash of a message under one leaf: H(I || q || D_MESG || C || message) (RFC 8554 section 4.5). */
export function messageHash(
  { set, identifier, leaf }: OneTime,
  randomizer: Uint8Array,
  message: Uint8Array,
): Uint8Array {
  return hash(set.n, prefix(identifier, leaf, D_MESG), randomizer, message);
}

/** Walks a chain from step `from`, where its value is `start`, to step `to` (RFC 8554 section 4.3). */
export function walkChain(
  { set, identifier, leaf }: OneTime,
  chain: number,
  start: Uint8Array,
  from: number,
  to: number,
): Uint8Array {
  const block = new Uint8Array(VALUE_AT + set.n);
  block.set(prefix(identifier, leaf, chain));
  block.set(start, VALUE_AT);
  advance(block, set.n, from, to);
  return block.subarray(VALUE_AT);
}

/** Walks a chain from its secret start, H(I || q || i || 0xff || SEED) (RFC 8554 Appendix A), to step `to`. */
export function walkFromSeed(
  { set, identifier, leaf }: OneTime,
  chain: number,
  seed: Uint8Array,
  to: number,
): Uint8Array {
  const block = new Uint8Array(VALUE_AT + set.n);
  block.set(prefix(identifier, leaf, chain));
  block[PREFIX_LENGTH] = START_STEP;
  block.set(seed, VALUE_AT);
  sha256Into(block, block, VALUE_AT, set.n);
  advance(block, set.n, 0, to);
  return block.subarray(VALUE_AT);
}

/** The one-time public key K = H(I || q || D_PBLC || chain ends) (RFC 8554 section 4.3). */
export function oneTimeKey({ set, identifier, leaf }: OneTime, ends: readonly Uint8Array[]): Uint8Array {
  return hash(set.n, prefix(identifier, leaf, D_PBLC), ...ends);
}

/** A leaf of the tree: H(I || r || D_LEAF || K) (RFC 8554 section 5.3). */
export function leafNode(n: number, identifier: Uint8Array, node: number, key: Uint8Array): Uint8Array {
  return hash(n, prefix(identifier, node, D_LEAF), key);
}

/** An inner node of the tree: H(I || r || D_INTR || left || right) (RFC 8554 section 5.3). */
export function innerNode(
  n: number,
  identifier: Uint8Array,
  node: number,
  left: Uint8Array,
  right: Uint8Array,
): Uint8Array {
  return hash(n, prefix(identifier, node, D_INTR), left, right);
}

function advance(block: Uint8Array, n: number, from: number, to: number): void {
  for (let step = from; step < to; step++) {
    block[PREFIX_LENGTH] = step;
    sha256Into(block, block, VALUE_AT, n);
  }
}

// SHA-256, cut to 24 bytes where n is 24 (RFC 9858 section 3).
function hash(n: number, ...parts: readonly Uint8Array[]): Uint8Array {
  const digest = new Uint8Array(n);
  sha256Into(concat(...parts), digest, 0, n);
  return digest;
}

// I || u32str(number) || u16str(domain), before every hash (RFC 8554 section 7.1).
function prefix(identifier: Uint8Array, number: number, domain: number): Uint8Array {
  const bytes = new Uint8Array(PREFIX_LENGTH);
  bytes.set(identifier);
  const view = new DataView(bytes.buffer);
  view.setUint32(16, number);
  view.setUint16(20, domain);
  return bytes;
}

function digit(bytes: Uint8Array, index: number, width: number): number {
  const perByte = 8 / width;
  const shift = 8 - width * ((index % perByte) + 1);
  return (bytes[Math.floor(index / perByte)]! >> shift) & ((1 << width) - 1);
}

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
const CHAIN_AT = 20;
const STEP_AT = PREFIX_LENGTH;
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

/** How every chain of a one-time key is walked: from the secret seed, or from values that a signature gives. */
export interface ChainWalk {
  /** From the chain's secret start, H(I || q || i || 0xff || SEED), to step `to` (RFC 8554 Appendix A). */
  fromSeed(chain: number, seed: Uint8Array, to: number): void;
  /** From step `from`, where the chain has the value `start`, to step `to` (RFC 8554 section 4.3). */
  from(chain: number, start: Uint8Array, from: number, to: number): void;
  /** The value that each chain walked last came to, one after the other: p values of n bytes. */
  readonly values: Uint8Array;
  /** The one-time public key where every chain was walked to its end: K = H(I || q || D_PBLC || values). */
  key(): Uint8Array;
}

/** Walks the chains of one one-time key (RFC 8554 section 4.3). One block of memory serves all of them. */
export function walkChains({ set, identifier, leaf }: OneTime): ChainWalk {
  const { n, p } = set;
  const keyInput = new Uint8Array(PREFIX_LENGTH + p * n);
  keyInput.set(prefix(identifier, leaf, D_PBLC));
  const values = keyInput.subarray(PREFIX_LENGTH);
  const block = new Uint8Array(VALUE_AT + n);
  block.set(prefix(identifier, leaf, 0));
  const advance = (chain: number, from: number, to: number) => {
    for (let step = from; step < to; step++) {
      block[STEP_AT] = step;
      sha256Into(block, block, VALUE_AT, n);
    }
    for (let i = 0; i < n; i++) values[chain * n + i] = block[VALUE_AT + i]!;
  };
  const begin = (chain: number, step: number, value: Uint8Array) => {
    block[CHAIN_AT] = chain >> 8;
    block[CHAIN_AT + 1] = chain & 0xff;
    block[STEP_AT] = step;
    block.set(value, VALUE_AT);
  };
  return {
    values,
    fromSeed(chain, seed, to) {
      begin(chain, START_STEP, seed);
      sha256Into(block, block, VALUE_AT, n);
      advance(chain, 0, to);
    },
    from(chain, start, from, to) {
      begin(chain, from, start);
      advance(chain, from, to);
    },
    key: () => hash(n, keyInput),
  };
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

// SHA-256, cut to 24 bytes where n is 24 (RFC 9858 section 3).
function hash(n: number, ...parts: readonly Uint8Array[]): Uint8Array {
  const digest = new Uint8Array(n);
  sha256Into(parts.length === 1 ? parts[0]! : concat(...parts), digest, 0, n);
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

import { concat, fromUtf8 } from '../../bytes/index.ts';
import { equalInConstantTime, hkdfSha256, hmacSha256 } from '../primitives.ts';
import { type HssShape, heightBelow, hssCapacity } from './shape.ts';
import {
  growTree,
  nodesLength,
  signLms,
  type Tree,
  type TreeProgress,
  type TreeSecret,
  treePublicKey,
  u32,
} from './tree.ts';

/** An HSS private key without its state: the shape and the master secret (32 bytes). Which leaf is next is kept elsewhere. */
export interface HssSecret {
  readonly shape: HssShape;
  readonly master: Uint8Array;
}

/** Port: keeps the nodes of one tree a level, so that signing need not make it again. Losing or changing them costs time only. */
export interface TreeStore {
  load(level: number): Uint8Array | undefined;
  save(level: number, bytes: Uint8Array): void;
}

/** What signing may be given beside the secret. */
export interface HssOptions {
  readonly store?: TreeStore | undefined;
  readonly progress?: TreeProgress | undefined;
}

const TAG_LENGTH = 32;
const NO_SALT = new Uint8Array(0);

/**
 * A signer over an HSS secret. It keeps the trees it works in, and no state: `sign` is told which leaf to use, and the
 * caller has made durable, before calling, that this leaf is spent (RFC 8554 section 9.2).
 *
 * All that it derives from the secret it derives the same way each time, by HKDF (RFC 5869) with a text of its own: the
 * identifier and seed of each tree, and each randomizer. A lower tree's public key is signed again whenever it is needed,
 * and the one-time key above it must then give the same signature, never a second one.
 */
export class HssTrees {
  private readonly trees: (Tree & { readonly position: bigint })[] = [];

  constructor(
    private readonly secret: HssSecret,
    private readonly options: HssOptions = {},
  ) {}

  /** HSS public key: level count and the top tree's public key (RFC 8554 section 6.1). */
  publicKey(): Uint8Array {
    return concat(u32(this.secret.shape.length), treePublicKey(this.treeAt(0, 0n)));
  }

  /** Signs with one leaf, counted over the whole key from 0 (RFC 8554 section 6.2). Throws `RangeError` outside it. */
  sign(leaf: bigint, message: Uint8Array): Uint8Array {
    const { shape } = this.secret;
    if (leaf < 0n || leaf >= hssCapacity(shape)) throw new RangeError('this key has no such leaf');
    const places = shape.map((_, level) => placeOf(shape, leaf, level));
    const trees = places.map(({ position }, level) => this.treeAt(level, position));
    const parts = places.flatMap(({ position, leafInTree }, level) => {
      const below = trees[level + 1] && treePublicKey(trees[level + 1]!);
      const randomizer = this.derive(`randomizer ${level} ${position} ${leafInTree}`, shape[level]!.lms.m);
      return [signLms(trees[level]!, leafInTree, randomizer, below ?? message), below ?? new Uint8Array(0)];
    });
    return concat(u32(shape.length - 1), ...parts);
  }

  /** Overwrites the secrets. Signing afterwards would give signatures that nothing verifies. */
  wipe(): void {
    this.secret.master.fill(0);
    for (const { secret } of this.trees) secret.seed.fill(0);
  }

  private treeAt(level: number, position: bigint): Tree {
    const known = this.trees[level];
    if (known?.position === position) return known;
    known?.secret.seed.fill(0);
    const secret = this.treeSecret(level, position);
    const tree = {
      ...(this.loadTree(secret, level, position) ?? this.makeTree(secret, level, position)),
      position,
    };
    this.trees[level] = tree;
    return tree;
  }

  private makeTree(secret: TreeSecret, level: number, position: bigint): Tree {
    const tree = growTree(secret, this.options.progress);
    this.options.store?.save(level, concat(tree.nodes, this.tagOf(tree.nodes, level, position)));
    return tree;
  }

  // The tag matters: the tree above would sign another root with a one-time key that has signed the right one before.
  private loadTree(secret: TreeSecret, level: number, position: bigint): Tree | undefined {
    const stored = this.options.store?.load(level);
    if (stored?.length !== nodesLength(secret.lms) + TAG_LENGTH) return undefined;
    const nodes = stored.subarray(0, -TAG_LENGTH);
    const tag = this.tagOf(nodes, level, position);
    return equalInConstantTime(tag, stored.subarray(-TAG_LENGTH)) ? { secret, nodes } : undefined;
  }

  private tagOf(nodes: Uint8Array, level: number, position: bigint): Uint8Array {
    return hmacSha256(this.derive(`stored nodes ${level} ${position}`, TAG_LENGTH), nodes);
  }

  private treeSecret(level: number, position: bigint): TreeSecret {
    const { lms, ots } = this.secret.shape[level]!;
    const bytes = this.derive(`tree ${level} ${position}`, 16 + ots.n);
    return { lms, ots, identifier: bytes.subarray(0, 16), seed: bytes.subarray(16) };
  }

  private derive(purpose: string, length: number): Uint8Array {
    return hkdfSha256(this.secret.master, NO_SALT, fromUtf8(`fieldseal hss ${purpose}`), length);
  }
}

/** Where a leaf of the whole key lies in one level: in the how manieth tree, and at which leaf of it. */
function placeOf(shape: HssShape, leaf: bigint, level: number): { position: bigint; leafInTree: number } {
  const here = leaf >> BigInt(heightBelow(shape, level + 1));
  const height = BigInt(shape[level]!.lms.h);
  return { position: here >> height, leafInTree: Number(here & ((1n << height) - 1n)) };
}

import { concat } from '../../bytes/index.ts';
import { digitsOf, innerNode, lastStep, leafNode, messageHash, type OneTime, walkChains } from './chains.ts';
import type { LmsParameters, OtsParameters } from './parameters.ts';

/** The secret of one LMS tree: its parameter sets, identifier I (16 bytes, public) and seed (n bytes, secret). */
export interface TreeSecret {
  readonly lms: LmsParameters;
  readonly ots: OtsParameters;
  readonly identifier: Uint8Array;
  readonly seed: Uint8Array;
}

/** A tree with all its nodes: number r (RFC 8554 section 5.3) stands at r * m, slot 0 is empty. No node is secret. */
export interface Tree {
  readonly secret: TreeSecret;
  readonly nodes: Uint8Array;
}

/** Called now and then while a tree is made, with leaves done and leaves in all. */
export type TreeProgress = (done: number, total: number) => void;

const LEAVES_A_REPORT = 16;

/** Bytes that the nodes of a tree take. */
export function nodesLength(lms: LmsParameters): number {
  return 2 ** (lms.h + 1) * lms.m;
}

/** Makes every node of a tree from its secret (RFC 8554 sections 4.3, 5.3, Appendix A): 2^h leaves of p chains each. */
export function growTree(secret: TreeSecret, progress: TreeProgress = () => {}): Tree {
  const { lms, identifier } = secret;
  const leaves = 2 ** lms.h;
  const nodes = new Uint8Array(nodesLength(lms));
  for (let leaf = 0; leaf < leaves; leaf++) {
    const node = leaves + leaf;
    nodes.set(leafNode(lms.m, identifier, node, publicOneTimeKey(secret, leaf)), node * lms.m);
    if (leaf % LEAVES_A_REPORT === 0) progress(leaf, leaves);
  }
  for (let node = leaves - 1; node >= 1; node--) {
    const left = nodeOf(nodes, 2 * node, lms.m);
    const right = nodeOf(nodes, 2 * node + 1, lms.m);
    nodes.set(innerNode(lms.m, identifier, node, left, right), node * lms.m);
  }
  progress(leaves, leaves);
  return { secret, nodes };
}

/** LMS public key of a tree: types, I, root (RFC 8554 section 5.3). */
export function treePublicKey({ secret, nodes }: Tree): Uint8Array {
  const { lms, ots, identifier } = secret;
  return concat(u32(lms.type), u32(ots.type), identifier, nodeOf(nodes, 1, lms.m));
}

/**
 * One LMS signature: q, the one-time signature, type, path (RFC 8554 sections 4.5 and 5.4.1). A leaf signs one message
 * only, and `randomizer` (C, n bytes) cannot be guessed before the signature is out: both are the caller's to keep.
 */
export function signLms(tree: Tree, leaf: number, randomizer: Uint8Array, message: Uint8Array): Uint8Array {
  const { lms, ots, identifier, seed } = tree.secret;
  const oneTime: OneTime = { set: ots, identifier, leaf };
  const digits = digitsOf(ots, messageHash(oneTime, randomizer, message));
  const walk = walkChains(oneTime);
  for (const [chain, to] of digits.entries()) walk.fromSeed(chain, seed, to);
  return concat(u32(leaf), u32(ots.type), randomizer, walk.values, u32(lms.type), pathOf(tree, leaf));
}

/** Four bytes, big-endian. */
export function u32(value: number): Uint8Array {
  const bytes = new Uint8Array(4);
  new DataView(bytes.buffer).setUint32(0, value);
  return bytes;
}

// Siblings from the leaf up to the root (RFC 8554 section 5.4.1).
function pathOf({ secret, nodes }: Tree, leaf: number): Uint8Array {
  const path: Uint8Array[] = [];
  for (let node = 2 ** secret.lms.h + leaf; node > 1; node = Math.floor(node / 2)) {
    path.push(nodeOf(nodes, node % 2 === 0 ? node + 1 : node - 1, secret.lms.m));
  }
  return concat(...path);
}

function nodeOf(nodes: Uint8Array, node: number, m: number): Uint8Array {
  return nodes.subarray(node * m, (node + 1) * m);
}

function publicOneTimeKey({ ots, identifier, seed }: TreeSecret, leaf: number): Uint8Array {
  const walk = walkChains({ set: ots, identifier, leaf });
  for (let chain = 0; chain < ots.p; chain++) walk.fromSeed(chain, seed, lastStep(ots));
  return walk.key();
}

/** What is sealed again after a mutation. */
import { concat } from '../../../src/bytes/index.ts';
import { sha256 } from '../../../src/crypto/index.ts';
import { changeAt, changeValue, type Node, valueAt, withChildren, write } from '../cbor-tree.ts';
import type { Authority } from './authority.ts';

const WRAPPER = 2;
const MANIFEST = 3;

/** A tree whose wrapper has the digest of the manifest that is there; `payload`: that digest, encoded. */
export interface Digested {
  readonly tree: Node;
  readonly digest: Uint8Array;
  readonly payload: Uint8Array;
}

/** Digests the manifest again. Where a mutation took the place of the digest away, it stays away. */
export function digested(tree: Node): Digested {
  const manifest = valueAt(tree, MANIFEST);
  const digest = sha256(manifest ? write(manifest) : new Uint8Array());
  const place = [0, 0, 0, 1];
  const changed = changeValue(tree, WRAPPER, (wrapper) =>
    changeAt(wrapper, place, () => ({ kind: 'bytes', value: digest })),
  );
  const wrapper = valueAt(changed, WRAPPER);
  const payload = contentOf(wrapper?.kind === 'wrapped' ? childAt(wrapper, [0, 0]) : undefined);
  return { tree: changed, digest, payload };
}

/** The envelope with its blocks changed; as it is where there is no list of blocks. */
export function changeBlocks(tree: Node, change: (blocks: readonly Node[]) => readonly Node[]): Node {
  return changeValue(tree, WRAPPER, (wrapper) => {
    const parts = childAt(wrapper, [0]);
    if (wrapper.kind !== 'wrapped' || parts?.kind !== 'array') return wrapper;
    const [digest, ...blocks] = parts.children;
    if (!digest) return wrapper;
    return changeAt(wrapper, [0], () => withChildren(parts, [digest, ...change(blocks)]));
  });
}

/**
 * Seals a changed envelope again as its authority would: digest of the manifest that is there, and a fresh signature or tag
 * in each block under the protected headers that are there. Parts that a mutation took away stay away.
 */
export function resealed(
  tree: Node,
  authority: Authority,
): { readonly tree: Node; readonly digest: Uint8Array } {
  const { tree: anew, digest, payload } = digested(tree);
  const sealedTree = changeBlocks(anew, (blocks) =>
    blocks.map((block, i) =>
      changeAt(block, [0], (message) => resealedMessage(message, authority, payload, i)),
    ),
  );
  return { tree: sealedTree, digest };
}

/** A COSE_Sign1 or COSE_Mac0 with a fresh signature or tag over the payload given, or over the one that it carries. */
export function resealedMessage(message: Node, authority: Authority, payload?: Uint8Array, block = 0): Node {
  const parts = childAt(message, [0]);
  if (parts?.kind !== 'array' || parts.children.length < 4) return message;
  const covered = payload ?? contentOf(parts.children[2]);
  const seal = authority.seal(protectedAsSigned(parts.children[0]), covered, { block });
  return changeAt(message, [0, 3], () => ({ kind: 'bytes', value: seal }));
}

/** An empty map enters as an empty string (RFC 9052 section 4.4). */
function protectedAsSigned(node: Node | undefined): Uint8Array {
  const bytes = contentOf(node);
  return bytes.length === 1 && bytes[0] === 0xa0 ? new Uint8Array() : bytes;
}

function childAt(node: Node, path: readonly number[]): Node | undefined {
  return path.reduce<Node | undefined>(
    (each, i) => (each && 'children' in each ? each.children[i] : undefined),
    node,
  );
}

/** The content of a byte string, opened or not. */
function contentOf(node: Node | undefined): Uint8Array {
  if (node?.kind === 'wrapped') return concat(...node.children.map(write));
  return node?.kind === 'bytes' ? node.value : new Uint8Array();
}

/** DER as a tree that can be changed into anything and written again; strings that hold DER are opened. */
import { mutateBytes } from './byte-mutation.ts';
import type { Random } from './random.ts';

/** One element. `prefix`: bytes of the content before its children, as the unused bits of a BIT STRING. */
export interface DerNode {
  readonly tag: number;
  readonly prefix: Uint8Array;
  readonly children: readonly DerNode[];
  readonly content: Uint8Array;
  /** How the length is written where it is not DER: with leading zeros, without length, or as something else. */
  readonly form?: { readonly long?: number; readonly indefinite?: boolean; readonly claim?: number };
}

const NOTHING = new Uint8Array();
const CONSTRUCTED = 0x20;
const OCTET_STRING = 4;
const BIT_STRING = 3;
const LONG_TAG = 0x1f;

/** The tree of one DER element, or undefined where it is none. Tags above 30 stay unopened. */
export function derTreeOf(bytes: Uint8Array): DerNode | undefined {
  const end = elementEnd(bytes, 0);
  return end === bytes.length ? nodeOf(bytes) : undefined;
}

function nodeOf(bytes: Uint8Array): DerNode {
  const tag = bytes[0]!;
  const content = bytes.slice(bytes.length - contentLength(bytes));
  const leaf = { tag, prefix: NOTHING, children: [], content };
  const skip = tag === BIT_STRING ? 1 : 0;
  if ((tag & CONSTRUCTED) === 0 && tag !== OCTET_STRING && tag !== BIT_STRING) return leaf;
  const children = elementsOf(content.subarray(skip));
  return children ? { tag, prefix: content.slice(0, skip), children, content: NOTHING } : leaf;
}

function elementsOf(bytes: Uint8Array): DerNode[] | undefined {
  const nodes: DerNode[] = [];
  for (let at = 0; at < bytes.length; ) {
    const end = elementEnd(bytes, at);
    if (end === undefined) return undefined;
    nodes.push(nodeOf(bytes.subarray(at, end)));
    at = end;
  }
  return nodes.length > 0 ? nodes : undefined;
}

function elementEnd(bytes: Uint8Array, at: number): number | undefined {
  if (at + 2 > bytes.length || (bytes[at]! & LONG_TAG) === LONG_TAG) return undefined;
  const first = bytes[at + 1]!;
  if (first > 0x82 || first === 0x80) return undefined;
  const end = at + headLength(bytes, at) + contentLength(bytes.subarray(at));
  return end <= bytes.length ? end : undefined;
}

function headLength(bytes: Uint8Array, at = 0): number {
  const first = bytes[at + 1]!;
  return first < 0x80 ? 2 : 2 + (first & 0x7f);
}

function contentLength(bytes: Uint8Array): number {
  const first = bytes[1]!;
  if (first < 0x80) return first;
  return first === 0x81 ? bytes[2]! : (bytes[2]! << 8) | bytes[3]!;
}

/** The bytes of a tree. */
export function writeDer(node: DerNode): Uint8Array {
  const body = Buffer.concat([node.prefix, node.content, ...node.children.map(writeDer)]);
  return new Uint8Array(Buffer.concat([Uint8Array.of(node.tag), lengthOf(body.length, node.form), body]));
}

function lengthOf(
  length: number,
  { long = 0, indefinite = false, claim = length }: DerNode['form'] = {},
): Uint8Array {
  if (indefinite) return Uint8Array.of(0x80);
  const digits: number[] = [];
  for (let rest = claim; rest > 0; rest = Math.floor(rest / 256)) digits.unshift(rest % 256);
  if (claim < 0x80 && long === 0) return Uint8Array.of(claim);
  while (digits.length < long) digits.unshift(0);
  return Uint8Array.of(0x80 | digits.length, ...digits);
}

/** One to three changes somewhere in the tree. */
export function mutateDer(random: Random, root: DerNode): DerNode {
  let node = root;
  for (let changes = 1 + random.below(3); changes > 0; changes--) {
    const paths = pathsOf(node);
    const donor = random.pick(paths);
    node = changeDer(node, random.pick(paths), (each) => changed(random, each, derAt(root, donor) ?? root));
  }
  return node;
}

/** The tree with the node at `path` changed. */
export function changeDer(
  node: DerNode,
  path: readonly number[],
  change: (node: DerNode) => DerNode,
): DerNode {
  const [first, ...rest] = path;
  if (first === undefined) return change(node);
  const children = node.children.map((child, i) => (i === first ? changeDer(child, rest, change) : child));
  return { ...node, children };
}

/** The node at `path`. */
export function derAt(node: DerNode | undefined, path: readonly number[]): DerNode | undefined {
  return path.reduce((each, i) => each?.children[i], node);
}

function pathsOf(node: DerNode, path: readonly number[] = []): (readonly number[])[] {
  return [path, ...node.children.flatMap((child, i) => pathsOf(child, [...path, i]))];
}

const TAGS = [1, 2, 3, 4, 5, 6, 10, 12, 19, 22, 23, 24, 0x30, 0x31, 0x80, 0x82, 0x86, 0xa0, 0xa1, 0xa3, 0x1f];

function changed(random: Random, node: DerNode, donor: DerNode): DerNode {
  switch (random.below(8)) {
    case 0:
      return { ...node, tag: random.pick(TAGS) };
    case 1:
      return donor;
    case 2:
      return { ...node, form: { long: 1 + random.below(5) } };
    case 3:
      return random.chance(0.5)
        ? { ...node, form: { indefinite: true } }
        : { ...node, form: { claim: random.below(70_000) } };
    case 4:
      return nested(random, node);
    default:
      return node.children.length > 0
        ? reordered(random, node)
        : { ...node, content: mutateBytes(random, node.content) };
  }
}

function reordered(random: Random, node: DerNode): DerNode {
  const children = [...node.children];
  const at = random.below(children.length);
  const [moved] = random.chance(0.5) ? children.splice(at, 1) : [children[at]!];
  if (random.chance(0.6)) children.splice(random.below(children.length + 1), 0, moved!);
  return { ...node, children };
}

function nested(random: Random, node: DerNode): DerNode {
  let outer = node;
  for (let depth = random.chance(0.2) ? 40 : 1; depth > 0; depth--) {
    outer = { tag: 0x30, prefix: NOTHING, children: [outer], content: NOTHING };
  }
  return outer;
}

/**
 * CBOR as a tree that can be changed into anything, sound or not, and written again. Byte strings that hold CBOR are opened.
 * Trees are never changed in place: a change shares all that it leaves alone, and what is shared is not encoded again.
 */
import { type CborItem, decode, encodeHead } from '../../src/cbor/index.ts';

/** How the head of a node is written where it is not as the standard asks. */
export interface HeadForm {
  /** Bytes of the argument: more than needed is no shortest form. */
  readonly width?: 1 | 2 | 4 | 8;
  /** Without a length, closed by a break. */
  readonly indefinite?: boolean;
  /** A length or count that is not so. */
  readonly claim?: bigint;
}

export type Node = (
  | { readonly kind: 'int'; readonly value: bigint }
  | { readonly kind: 'bytes' | 'text'; readonly value: Uint8Array }
  | { readonly kind: 'wrapped' | 'array' | 'map'; readonly children: readonly Node[] }
  | { readonly kind: 'tag'; readonly tag: bigint; readonly children: readonly Node[] }
  | { readonly kind: 'raw'; readonly value: Uint8Array }
) & { readonly form?: HeadForm; encoded?: Uint8Array };

const DEEPEST = 12;
const LARGEST_OPENED = 4096;

/** The tree of encoded CBOR, or undefined where it is none. */
export function treeOf(bytes: Uint8Array): Node | undefined {
  const item = decoded(bytes);
  return item && nodeOf(item, bytes, 0);
}

function decoded(bytes: Uint8Array): CborItem | undefined {
  try {
    return decode(bytes, { sortedKeys: false });
  } catch {
    return undefined;
  }
}

function nodeOf(item: CborItem, whole: Uint8Array, depth: number): Node {
  const node = (body: Node): Node => ({ ...body, encoded: whole.slice(item.start, item.end) });
  switch (item.type) {
    case 'uint':
    case 'nint':
      return node({ kind: 'int', value: BigInt(item.value) });
    case 'bytes':
      return node(wrappedOf(item.value, depth) ?? { kind: 'bytes', value: item.value.slice() });
    case 'text':
      return node({ kind: 'text', value: whole.slice(item.contentStart, item.end) });
    case 'array':
      return node({ kind: 'array', children: item.items.map((each) => nodeOf(each, whole, depth)) });
    case 'map': {
      const children = item.entries.flatMap(({ key, value }) => [key, value]);
      return node({ kind: 'map', children: children.map((each) => nodeOf(each, whole, depth)) });
    }
    case 'tag':
      return node({ kind: 'tag', tag: BigInt(item.tag), children: [nodeOf(item.item, whole, depth)] });
    default:
      return node({ kind: 'raw', value: whole.slice(item.start, item.end) });
  }
}

function wrappedOf(content: Uint8Array, depth: number): Node | undefined {
  const holds =
    content.length > 0 && content.length <= LARGEST_OPENED && [4, 5, 6].includes(content[0]! >> 5);
  const item = holds && depth < DEEPEST ? decoded(content) : undefined;
  return item && { kind: 'wrapped', children: [nodeOf(item, content, depth + 1)] };
}

/** The bytes of a tree. */
export function write(node: Node): Uint8Array {
  return node.encoded ?? joined(piecesOf(node));
}

function piecesOf(node: Node): Uint8Array[] {
  switch (node.kind) {
    case 'raw':
      return [node.value];
    case 'int':
      return [node.value < 0n ? head(1, -1n - node.value, node.form) : head(0, node.value, node.form)];
    case 'bytes':
      return string(2, node.value, node.form);
    case 'text':
      return string(3, node.value, node.form);
    case 'wrapped':
      return string(2, joined(node.children.map(write)), node.form);
    case 'tag':
      return [head(6, node.tag, node.form), ...node.children.map(write)];
    case 'array':
      return container(4, node.children, node.children.length, node.form);
    case 'map':
      return container(5, node.children, Math.floor(node.children.length / 2), node.form);
  }
}

const BREAK = Uint8Array.of(0xff);

function string(major: number, content: Uint8Array, form?: HeadForm): Uint8Array[] {
  if (!form?.indefinite) return [head(major, BigInt(content.length), form), content];
  return [Uint8Array.of((major << 5) | 31), encodeHead(major, content.length), content, BREAK];
}

function container(major: number, children: readonly Node[], count: number, form?: HeadForm): Uint8Array[] {
  const parts = children.map(write);
  if (form?.indefinite) return [Uint8Array.of((major << 5) | 31), ...parts, BREAK];
  return [head(major, BigInt(count), form), ...parts];
}

function head(major: number, argument: bigint, { width, claim = argument }: HeadForm = {}): Uint8Array {
  if (width === undefined) return encodeHead(major, claim < 2n ** 64n ? claim : 2n ** 64n - 1n);
  const bytes = new Uint8Array(1 + width);
  bytes[0] = (major << 5) | (24 + Math.log2(width));
  for (let i = 0; i < width; i++) bytes[width - i] = Number((claim >> BigInt(8 * i)) & 0xffn);
  return bytes;
}

function joined(parts: readonly Uint8Array[]): Uint8Array {
  if (parts.length === 1) return parts[0]!;
  let length = 0;
  for (const part of parts) length += part.length;
  const whole = new Uint8Array(length);
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
}

/** What stands below a node, in order; map keys and values take turns. */
export function childrenOf(node: Node): readonly Node[] {
  return 'children' in node ? node.children : [];
}

/** A node like this one with other children. */
export function withChildren(node: Node, children: readonly Node[]): Node {
  const { encoded: _, ...rest } = node;
  return { ...rest, children } as Node;
}

/** One node of a tree: the indices that lead to it, and its name, such as `/3/</2`. */
export interface Place {
  readonly path: readonly number[];
  /** Map keys and array indices on the way; `<` opens a byte string; a key itself ends in `:key`. */
  readonly name: string;
  readonly node: Node;
}

/** Every node of a tree, the root first. */
export function placesOf(root: Node): Place[] {
  const places: Place[] = [];
  const visit = (node: Node, path: readonly number[], name: string): void => {
    places.push({ path, name, node });
    childrenOf(node).forEach((child, i) => {
      visit(child, [...path, i], name + stepName(node, i));
    });
  };
  visit(root, [], '');
  return places;
}

function stepName(node: Node, i: number): string {
  if (node.kind === 'wrapped') return '/<';
  if (node.kind === 'tag') return '';
  if (node.kind !== 'map') return `/${i}`;
  const key = childrenOf(node)[i - (i % 2)]!;
  const text = key.kind === 'int' ? String(key.value) : key.kind === 'text' ? 'text' : 'other';
  return i % 2 === 0 ? `/${text}:key` : `/${text}`;
}

/** The tree with the node at `path` changed; undefined where the path leads nowhere. */
export function changeAt(root: Node, path: readonly number[], change: (node: Node) => Node): Node {
  const [first, ...rest] = path;
  if (first === undefined) return change(root);
  const children = childrenOf(root);
  if (first >= children.length) return root;
  return withChildren(
    root,
    children.map((child, i) => (i === first ? changeAt(child, rest, change) : child)),
  );
}

/** The value of an integer key in a map, through tags; undefined where there is none. */
export function valueAt(node: Node | undefined, key: number): Node | undefined {
  if (node?.kind === 'tag') return valueAt(node.children[0], key);
  if (node?.kind !== 'map') return undefined;
  const { children } = node;
  for (let i = 0; i + 1 < children.length; i += 2) {
    const each = children[i]!;
    if (each.kind === 'int' && each.value === BigInt(key)) return children[i + 1];
  }
  return undefined;
}

/** The map with the value of an integer key changed, through tags. */
export function changeValue(node: Node, key: number, change: (value: Node) => Node): Node {
  if (node.kind === 'tag') return withChildren(node, [changeValue(node.children[0]!, key, change)]);
  if (node.kind !== 'map') return node;
  const at = node.children.findIndex(
    (each, i) => i % 2 === 0 && each.kind === 'int' && each.value === BigInt(key),
  );
  return at < 0 ? node : changeAt(node, [at + 1], change);
}

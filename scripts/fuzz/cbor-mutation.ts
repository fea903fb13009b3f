/** Mutations of CBOR trees: types, lengths, keys, order, numbers, depth, and parts of other trees. */
import { mutateBytes } from './byte-mutation.ts';
import {
  changeAt,
  childrenOf,
  type HeadForm,
  type Node,
  type Place,
  placesOf,
  withChildren,
} from './cbor-tree.ts';
import type { Random } from './random.ts';

/** Changes one place out of `places`, or any place where none are given. `donors`: nodes to splice in. */
export function mutateTree(
  random: Random,
  root: Node,
  places?: readonly Place[],
  donors?: readonly Place[],
): Node {
  const choices = places && places.length > 0 ? places : placesOf(root);
  const { path } = random.pick(choices);
  return changeAt(root, path, (node) => changed(random, node, donors ?? choices));
}

function changed(random: Random, node: Node, donors: readonly Place[]): Node {
  switch (random.below(10)) {
    case 0:
      return random.pick(donors).node;
    case 1:
      return anyNode(random, 0);
    case 2:
      return unsealed(node, { form: anyForm(random) });
    case 3:
      return nested(random, node);
    default:
      return ownKind(random, node, donors);
  }
}

/** A change that the kind of the node suggests. */
function ownKind(random: Random, node: Node, donors: readonly Place[]): Node {
  switch (node.kind) {
    case 'int':
      return { kind: 'int', value: otherNumber(random, node.value) };
    case 'bytes':
    case 'text':
    case 'raw':
      return { kind: node.kind, value: mutateBytes(random, node.value) };
    case 'tag':
      if (random.chance(0.5)) return unsealed(node, { tag: random.number() });
      return node.children[0]!;
    case 'wrapped':
      return random.chance(0.5) ? node.children[0]! : unsealed(node, { form: anyForm(random) });
    default:
      return withChildren(node, otherChildren(random, node, donors));
  }
}

function otherNumber(random: Random, value: bigint): bigint {
  switch (random.below(4)) {
    case 0:
      return value + BigInt(random.below(9) - 4);
    case 1:
      return -1n - value;
    case 2:
      return random.chance(0.5) ? random.number() : -random.number();
    default:
      return value ^ (1n << BigInt(random.below(8)));
  }
}

/** Entries of a map move as pairs, most of the time. */
function otherChildren(random: Random, node: Node, donors: readonly Place[]): Node[] {
  const children = [...childrenOf(node)];
  const step = node.kind === 'map' && random.chance(0.9) ? 2 : 1;
  const at = random.below(Math.floor(children.length / step) + 1) * step;
  const other = random.below(Math.floor(children.length / step) + 1) * step;
  const entry = children.slice(at, at + step);
  switch (random.below(5)) {
    case 0:
      children.splice(at, step);
      return children;
    case 1:
      children.splice(other, 0, ...entry);
      return children;
    case 2:
      children.splice(at, step);
      children.splice(other, 0, ...entry);
      return children;
    case 3:
      children.splice(at, 0, ...Array.from({ length: step }, () => random.pick(donors).node));
      return children;
    default:
      children.splice(at, 0, ...Array.from({ length: step }, () => anyNode(random, 0)));
      return children;
  }
}

function nested(random: Random, node: Node): Node {
  let outer = node;
  for (let depth = random.chance(0.1) ? 40 : 1 + random.below(3); depth > 0; depth--) {
    outer = random.chance(0.5)
      ? { kind: 'array', children: [outer] }
      : { kind: 'wrapped', children: [outer] };
  }
  return outer;
}

function anyForm(random: Random): HeadForm {
  switch (random.below(3)) {
    case 0:
      return { width: random.pick([1, 2, 4, 8] as const) };
    case 1:
      return { indefinite: true };
    default:
      return { claim: random.number() };
  }
}

/** Any node at all. */
export function anyNode(random: Random, depth: number): Node {
  switch (random.below(depth < 3 ? 8 : 4)) {
    case 0:
      return { kind: 'int', value: random.chance(0.5) ? random.number() : -1n - random.number() };
    case 1:
      return { kind: 'bytes', value: random.bytes(random.pick([0, 1, 16, 32, 33])) };
    case 2:
      return { kind: 'text', value: random.bytes(random.below(6)).map((byte) => byte & 0x7f) };
    case 3:
      return { kind: 'raw', value: random.pick(SIMPLE) };
    case 4:
      return { kind: 'array', children: some(random, depth, 1) };
    case 5:
      return { kind: 'map', children: some(random, depth, 2) };
    case 6:
      return { kind: 'wrapped', children: [anyNode(random, depth + 1)] };
    default:
      return { kind: 'tag', tag: random.number(), children: [anyNode(random, depth + 1)] };
  }
}

/** false, null, undefined, an unassigned simple value, a half-precision float, a reserved head, a lone break. */
const SIMPLE = ['f4', 'f6', 'f7', 'f8ff', 'f93c00', '1c', 'ff'].map(
  (hex) => new Uint8Array(Buffer.from(hex, 'hex')),
);

function some(random: Random, depth: number, each: number): Node[] {
  return Array.from({ length: random.below(4) * each }, () => anyNode(random, depth + 1));
}

function unsealed(node: Node, changes: object): Node {
  const { encoded: _, ...rest } = node;
  return { ...rest, ...changes } as Node;
}

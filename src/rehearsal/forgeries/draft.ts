/** A manifest opened for changes: what an insider, or whoever holds a stolen key, could write in place of the real one. */
import { equal } from '../../bytes/index.ts';
import { type CborItem, CborMap, CborTag, type CborValue, decode, encode } from '../../cbor/index.ts';
import { digestOf, encodeDigest } from '../../suit/index.ts';
import type { Integrated, Parts } from './parts.ts';

/** Commands and arguments in turn (draft-ietf-suit-manifest section 8.4.7). */
export type Pairs = readonly CborValue[];
export type ParameterMap = Map<number, CborValue>;

/** Elements of a manifest by their keys (draft-ietf-suit-manifest section 8.4). */
export const ELEMENT = {
  version: 1,
  number: 2,
  common: 3,
  validate: 7,
  invoke: 9,
  fetch: 16,
  install: 20,
  text: 23,
} as const;
const SHARED = 4;
const COMPONENTS = 2;
const SELECT = 12;
const SET = 20;
const TRY_EACH = 15;
const RUN_SEQUENCE = 32;
const SEQUENCES: readonly number[] = [ELEMENT.validate, ELEMENT.invoke, ELEMENT.fetch, ELEMENT.install];

/** The draft of a manifest with what belongs to it: change its fields, then `write` it. */
export class Draft {
  readonly elements: Map<number, CborValue>;
  readonly severed: Map<number, Uint8Array>;
  integrated: readonly Integrated[];

  constructor({ manifest, severed, integrated }: Parts) {
    this.elements = entriesOf(manifest);
    this.severed = new Map(severed);
    this.integrated = integrated;
  }

  /** The manifest as it stands now. */
  write(): Uint8Array {
    return encode(new CborMap(this.elements));
  }

  get number(): bigint {
    return BigInt(this.elements.get(ELEMENT.number) as number | bigint);
  }

  set number(value: bigint) {
    this.elements.set(ELEMENT.number, value);
  }

  get components(): readonly CborValue[] {
    return entriesOf(this.#common()).get(COMPONENTS) as readonly CborValue[];
  }

  set components(value: readonly CborValue[]) {
    this.common(COMPONENTS, value);
  }

  get shared(): Pairs {
    return pairsIn(entriesOf(this.#common()).get(SHARED) as Uint8Array);
  }

  set shared(pairs: Pairs) {
    this.common(SHARED, encode([...pairs]));
  }

  /** Sets one element of the common part. */
  common(key: number, value: CborValue): void {
    const entries = entriesOf(this.#common()).set(key, value);
    this.elements.set(ELEMENT.common, encode(new CborMap(entries)));
  }

  /** The commands of a section, severed or not; none where there is no such section. */
  section(key: number): Pairs {
    const element = this.elements.get(key);
    const bytes = element instanceof Uint8Array ? element : element && this.severed.get(key);
    return bytes ? pairsIn(bytes) : [];
  }

  setSection(key: number, pairs: Pairs): void {
    const content = encode([...pairs]);
    if (this.severed.has(key)) this.sever(key, content);
    else this.elements.set(key, content);
  }

  /** Puts an element into the envelope and its digest into the manifest (section 8.4.12). */
  sever(key: number, content: Uint8Array): void {
    this.severed.set(key, content);
    this.elements.set(key, decodeValue(encodeDigest(digestOf(encode(content)))));
  }

  /**
   * Replaces every command of every sequence, in branches too, by what `change` makes of it. What is said of dependencies,
   * whose indices follow those of the components, stays.
   */
  commands(change: Change): void {
    const own = this.components.length;
    this.shared = changed(this.shared, { change, own, index: 0 });
    for (const key of SEQUENCES) {
      if (this.elements.has(key)) this.setSection(key, changed(this.section(key), { change, own, index: 0 }));
    }
  }

  /** Changes the parameters of every override-parameters command; one that sets nothing any more is left out. */
  parameters(change: (parameters: ParameterMap) => void): void {
    this.commands((code, argument) => {
      if (code !== SET) return [code, argument];
      const parameters = new Map((argument as CborMap).entries as readonly (readonly [number, CborValue])[]);
      change(parameters);
      return parameters.size === 0 ? [] : [code, new CborMap(parameters)];
    });
  }

  /** Sets a parameter wherever it is set. Gives how often that was. */
  parameter(code: number, value: (before: CborValue) => CborValue): number {
    let count = 0;
    this.parameters((parameters) => {
      const before = parameters.get(code);
      if (before === undefined) return;
      parameters.set(code, value(before));
      count += 1;
    });
    return count;
  }

  /** Puts `after` in place of the byte string `before` wherever a parameter holds it, in digests too. */
  substitute(before: Uint8Array, after: Uint8Array): void {
    this.parameters((parameters) => {
      for (const [code, value] of parameters) {
        if (!(value instanceof Uint8Array)) continue;
        if (equal(value, before)) parameters.set(code, after);
        else if (code === 3) parameters.set(code, digestWith(value, before, after));
      }
    });
  }

  #common(): Uint8Array {
    return this.elements.get(ELEMENT.common) as Uint8Array;
  }
}

/** A digest parameter with other bytes where it has `before`. */
export function digestWith(parameter: Uint8Array, before: Uint8Array, after: Uint8Array): Uint8Array {
  const [algorithm, bytes] = decodeValue(parameter) as readonly CborValue[];
  return equal(bytes as Uint8Array, before) ? encode([algorithm!, after]) : parameter;
}

type Change = (code: number, argument: CborValue) => Pairs;

/** A walk over commands: how they are changed, how many components there are, and which one is meant. */
interface Walk {
  readonly change: Change;
  readonly own: number;
  index: number;
}

function changed(pairs: Pairs, walk: Walk): Pairs {
  const result: CborValue[] = [];
  for (let i = 0; i < pairs.length; i += 2) {
    const code = pairs[i] as number;
    const argument = inBranches(code, pairs[i + 1]!, walk);
    if (code === SELECT) walk.index = typeof argument === 'number' ? argument : 0;
    result.push(...(walk.index < walk.own ? walk.change(code, argument) : [code, argument]));
  }
  return result;
}

function inBranches(code: number, argument: CborValue, walk: Walk): CborValue {
  const branch = (each: CborValue) =>
    each instanceof Uint8Array ? encode([...changed(pairsIn(each), { ...walk })]) : each;
  if (code === RUN_SEQUENCE) return branch(argument);
  return code === TRY_EACH && Array.isArray(argument) ? argument.map(branch) : argument;
}

function pairsIn(bytes: Uint8Array): Pairs {
  return decodeValue(bytes) as Pairs;
}

function entriesOf(bytes: Uint8Array): Map<number, CborValue> {
  return new Map((decodeValue(bytes) as CborMap).entries as readonly (readonly [number, CborValue])[]);
}

/** What `encode` takes, out of bytes. */
export function decodeValue(bytes: Uint8Array): CborValue {
  return plainOf(decode(bytes));
}

function plainOf(item: CborItem): CborValue {
  switch (item.type) {
    case 'array':
      return item.items.map(plainOf);
    case 'map':
      return new CborMap(item.entries.map(({ key, value }) => [plainOf(key), plainOf(value)] as const));
    case 'tag':
      return new CborTag(item.tag, plainOf(item.item));
    case 'simple':
      return item.value as boolean | null;
    default:
      return item.value;
  }
}

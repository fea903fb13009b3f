/** Mutations that know nothing of a format. */
import type { Random } from './random.ts';

const EDGES = [0x00, 0x01, 0x7f, 0x80, 0xff];

/** One to four small changes. Never longer than `input` by more than 64 bytes. */
export function mutateBytes(random: Random, input: Uint8Array, other?: Uint8Array): Uint8Array {
  let bytes = input;
  for (let changes = 1 + random.below(4); changes > 0; changes--) bytes = changed(random, bytes, other);
  return bytes;
}

function changed(random: Random, bytes: Uint8Array, other: Uint8Array | undefined): Uint8Array {
  const at = random.below(bytes.length + 1);
  switch (random.below(bytes.length === 0 ? 1 : 8)) {
    case 0:
      return spliced(bytes, at, 0, random.bytes(1 + random.below(8)));
    case 1:
      return set(bytes, at, (old) => old ^ (1 << random.below(8)));
    case 2:
      return set(bytes, at, () => random.pick(EDGES));
    case 3:
      return set(bytes, at, (old) => (old + (random.chance(0.5) ? 1 : 255)) & 0xff);
    case 4:
      return spliced(bytes, at, 1 + random.below(16), new Uint8Array());
    case 5:
      return random.chance(0.5) ? bytes.slice(0, at) : bytes.slice(at);
    case 6:
      return spliced(bytes, at, 0, bytes.slice(at, at + 1 + random.below(32)));
    default:
      return other ? crossed(random, bytes, other, at) : set(bytes, at, () => random.below(256));
  }
}

function set(bytes: Uint8Array, at: number, change: (old: number) => number): Uint8Array {
  const copy = bytes.slice();
  const i = at % copy.length;
  copy[i] = change(copy[i]!);
  return copy;
}

/** `other` takes over for a stretch. */
function crossed(random: Random, bytes: Uint8Array, other: Uint8Array, at: number): Uint8Array {
  const from = random.below(other.length + 1);
  const length = 1 + random.below(64);
  return spliced(bytes, at, length, other.subarray(from, from + length));
}

function spliced(bytes: Uint8Array, at: number, remove: number, insert: Uint8Array): Uint8Array {
  const rest = bytes.subarray(Math.min(bytes.length, at + remove));
  const out = new Uint8Array(at + insert.length + rest.length);
  out.set(bytes.subarray(0, at));
  out.set(insert, at);
  out.set(rest, at + insert.length);
  return out;
}

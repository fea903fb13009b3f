import { concat } from '../bytes/index.ts';
import { DerError } from './der-error.ts';

const DOTTED = /^[012](?:\.(?:0|[1-9][0-9]*))+$/;
const MAX_OID_BYTES = 128;

/** Dotted form of an object identifier's content (X.690 section 8.19). Arcs of any size (UUID arcs have 128 bits). */
export function readOid(content: Uint8Array, offset: number): string {
  if (content.length === 0 || content.length > MAX_OID_BYTES) throw new DerError('oid-malformed', offset);
  if (content.at(-1)! >= 0x80) throw new DerError('oid-malformed', offset);
  const arcs: (number | bigint)[] = [];
  for (let at = 0; at < content.length; ) {
    if (content[at] === 0x80) throw new DerError('oid-malformed', offset + at);
    const arc = readArc(content, at);
    arcs.push(arc.value);
    at = arc.next;
  }
  return [...splitFirst(arcs[0]!), ...arcs.slice(1)].join('.');
}

/** Content of an object identifier given in dotted form. Throws `TypeError` where it is not one. */
export function writeOid(dotted: string): Uint8Array {
  if (!DOTTED.test(dotted)) throw new TypeError(`not an object identifier in dotted form: ${dotted}`);
  const [first = 0n, second = 0n, ...rest] = dotted.split('.').map(BigInt);
  if (first < 2n && second > 39n) throw new TypeError(`second arc above 39 under ${first}: ${dotted}`);
  return concat(...[first * 40n + second, ...rest].map(writeArc));
}

function readArc(content: Uint8Array, start: number): { value: number | bigint; next: number } {
  let value: number | bigint = 0;
  for (let at = start; ; at++) {
    const byte = content[at]!;
    value = typeof value === 'number' && value < 2 ** 45 ? value * 128 + (byte & 0x7f) : widen(value, byte);
    if (byte < 0x80) return { value, next: at + 1 };
  }
}

function widen(value: number | bigint, byte: number): bigint {
  return BigInt(value) * 128n + BigInt(byte & 0x7f);
}

// The first two arcs share one number: 40 * first + second (X.690 section 8.19.4).
function splitFirst(joined: number | bigint): (number | bigint)[] {
  if (joined < 40) return [0, joined];
  if (joined < 80) return [1, BigInt(joined) - 40n];
  return [2, BigInt(joined) - 80n];
}

function writeArc(arc: bigint): Uint8Array {
  const septets = [Number(arc & 0x7fn)];
  for (let left = arc >> 7n; left > 0n; left >>= 7n) septets.unshift(Number(left & 0x7fn) | 0x80);
  return Uint8Array.from(septets);
}

import { CborError, type Head, readHead } from '../../cbor/index.ts';
import { CBOR_CLAUSE, notUnderstood, type Region } from './region.ts';

const MAJOR_NAMES = [
  'unsigned integer',
  'negative integer',
  'byte string of bytes:',
  'text of bytes:',
  'array of',
  'map of',
  'tag',
  'simple or float',
];
const MOST_PARTS = 1024;

/**
 * Bytes that are not one sound item, as far as heads can be read one after another; what is left is "not
 * understood", for the reason given. `base` is the offset of the first byte in the file. `intoCut` also reads heads
 * inside a byte string that was cut short: where it is known to wrap CBOR.
 */
export function scanHeads(
  bytes: Uint8Array,
  base: number,
  path: string,
  reason: string,
  intoCut = false,
): Region[] {
  const parts: Region[] = [];
  let at = 0;
  while (at < bytes.length && parts.length < MOST_PARTS) {
    const head = tryHead(bytes, at);
    if (!head) break;
    parts.push(region(at + base, head.end - at, `${path}/${parts.length}`, headTitle(head)));
    at = head.end;
    if (head.major !== 2 && head.major !== 3) continue;
    const length = Number(head.argument);
    if (length > bytes.length - at) {
      if (intoCut && head.major === 2) continue;
      break;
    }
    if (length > 0) parts.push(region(at + base, length, `${path}/${parts.length}`, 'content of a string'));
    at += length;
  }
  const rest = notUnderstood(at + base, bytes.length + base, path, reason);
  const last = parts.at(-1);
  if (rest.length === 0 && last) parts[parts.length - 1] = { ...last, problem: reason };
  return [...parts, ...rest];
}

function tryHead(bytes: Uint8Array, at: number): Head | undefined {
  try {
    return readHead(bytes, at);
  } catch (error) {
    if (error instanceof CborError) return undefined;
    throw error;
  }
}

function headTitle(head: Head): string {
  return `head: ${MAJOR_NAMES[head.major]} ${head.argument}`;
}

function region(offset: number, length: number, path: string, title: string): Region {
  return { offset, length, path, title, clause: CBOR_CLAUSE };
}

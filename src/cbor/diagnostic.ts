import { toHex } from '../bytes/index.ts';
import type { CborBytes, CborItem } from './item.ts';

/** How byte strings are shown. */
export interface DiagnosticOptions {
  /** Decodes a byte string that holds CBOR, to be shown as `<<...>>`; `undefined` leaves it in hexadecimal. */
  readonly expand?: (bytes: CborBytes) => CborItem | undefined;
}

const POSITIVE_BIGNUM = 2;
const NEGATIVE_BIGNUM = 3;
/** What could leave the text literal or upset a terminal: quotes, controls, line separators, direction marks. */
const ESCAPED = /["\\\p{Cc}\p{Cf}\p{Zl}\p{Zp}]/gu;
const SHORT_ESCAPES: ReadonlyMap<string, string> = new Map([
  ['"', '\\"'],
  ['\\', '\\\\'],
  ['\n', '\\n'],
  ['\r', '\\r'],
  ['\t', '\\t'],
]);

/**
 * An item in diagnostic notation on one line (RFC 8949 section 8), embedded CBOR as `<<...>>` (RFC 8610 appendix G.3)
 * where `expand` decodes it. Bignums are shown as integers, as RFC 8949 Appendix A does, unless a shorter encoding
 * would hold them.
 */
export function diagnostic(item: CborItem, options: DiagnosticOptions = {}): string {
  switch (item.type) {
    case 'uint':
    case 'nint':
      return String(item.value);
    case 'bytes':
      return byteString(item, options);
    case 'text':
      return `"${item.value.replace(ESCAPED, escapeCharacter)}"`;
    case 'array':
      return `[${item.items.map((each) => diagnostic(each, options)).join(', ')}]`;
    case 'map': {
      const pairs = item.entries.map(
        ({ key, value }) => `${diagnostic(key, options)}: ${diagnostic(value, options)}`,
      );
      return `{${pairs.join(', ')}}`;
    }
    case 'tag':
      return bignum(item.tag, item.item) ?? `${item.tag}(${diagnostic(item.item, options)})`;
    case 'simple':
      return typeof item.value === 'number' ? `simple(${item.value})` : String(item.value);
    default:
      return float(item.value);
  }
}

function byteString(item: CborBytes, options: DiagnosticOptions): string {
  const embedded = options.expand?.(item);
  return embedded ? `<<${diagnostic(embedded, options)}>>` : `h'${toHex(item.value)}'`;
}

function bignum(tag: number | bigint, content: CborItem): string | undefined {
  if ((tag !== POSITIVE_BIGNUM && tag !== NEGATIVE_BIGNUM) || content.type !== 'bytes') return undefined;
  if (content.value.length <= 8 || content.value[0] === 0) return undefined;
  const magnitude = BigInt(`0x${toHex(content.value)}`);
  return String(tag === POSITIVE_BIGNUM ? magnitude : -1n - magnitude);
}

function escapeCharacter(character: string): string {
  const short = SHORT_ESCAPES.get(character);
  if (short) return short;
  const units = Array.from({ length: character.length }, (_, i) => character.charCodeAt(i));
  return units.map((unit) => `\\u${unit.toString(16).padStart(4, '0')}`).join('');
}

/** With a decimal point always, so that it reads back as a float. */
function float(value: number): string {
  if (!Number.isFinite(value)) return String(value);
  if (Object.is(value, -0)) return '-0.0';
  const [digits, exponent] = String(value).split('e');
  const mantissa = digits!.includes('.') ? digits! : `${digits}.0`;
  return exponent === undefined ? mantissa : `${mantissa}e${exponent}`;
}

import { type ByteSource, toHex } from '../../bytes/index.ts';
import { CborError, type CborItem, decode, diagnostic } from '../../cbor/index.ts';
import { keyNotation, type ShellEntry, type ShellStart } from '../shell.ts';
import { integratedDependency, isRead, outlineOf, type Standing } from './outline.ts';
import { counted } from './region.ts';
import type { Part, Shape } from './shape.ts';
import { envelopePart } from './suit-shapes.ts';
import { decodeWrapped } from './walk.ts';

const SHOWN_BYTES = 64;
const DEEPEST = 24;
const STEP = '  ';
/** What would end a comment or upset a terminal. */
const UNSAFE_IN_COMMENT = /[/\p{Cc}\p{Cf}\p{Zl}\p{Zp}]/gu;

/**
 * An envelope in extended diagnostic notation over several lines: names as comments, wrapped CBOR as `<<...>>`
 * (RFC 8949 section 8; RFC 8610 appendix G), the bytes of a payload elided with their number. What cannot be read
 * of a damaged file stands as a comment with the reason.
 */
export function diagnosticOfEnvelope(source: ByteSource): string {
  const { start, entries, end, problem } = outlineOf(source);
  const left = source.size - end;
  const whole = left === 0 && start !== undefined && entries.length === start.count;
  const rest = whole ? '' : `${comment(`${counted(left, 'byte')} not understood: ${problem}`)}\n`;
  if (!start) return rest;
  return `${printEnvelope(source, start, entries, '', 0)}\n${rest}`;
}

function printEnvelope(
  source: ByteSource,
  start: ShellStart,
  entries: readonly ShellEntry[],
  indent: string,
  depth: number,
): string {
  const standing = { depth, siblings: entries.length };
  const lines = entries.map((entry) => printEntry(source, entry, indent + STEP, standing));
  const map = `{\n${lines.join(',\n')}\n${indent}}`;
  return start.tag107 ? `107(${map})` : map;
}

function printEntry(source: ByteSource, entry: ShellEntry, indent: string, standing: Standing): string {
  const label = (name: string): string => `${indent}${comment(name)} ${keyNotation(entry.key)}: `;
  if (isRead(entry)) {
    const { name, shape } = envelopePart(entry.key);
    return label(name) + print(itemAt(source, entry.span.start, entry.span.end), shape, indent, 0);
  }
  const inner = integratedDependency(source, entry, standing);
  if (!inner) return label('integrated payload') + elided(source, entry.contentStart, entry.span.end);
  const { start, entries } = inner.outline;
  return `${label('integrated dependency')}<<${printEnvelope(inner.source, start, entries, indent, standing.depth + 1)}>>`;
}

function itemAt(source: ByteSource, start: number, end: number): CborItem {
  return decode(source.read(start, end - start), { base: start });
}

function elided(source: ByteSource, start: number, end: number): string {
  const length = end - start;
  return length <= SHOWN_BYTES
    ? `h'${toHex(source.read(start, length))}'`
    : `... ${comment(`${counted(length, 'byte')} not shown`)}`;
}

function print(item: CborItem, shape: Shape | undefined, indent: string, depth: number): string {
  switch (item.type) {
    case 'bytes': {
      const inner = shape?.wraps && depth < DEEPEST ? decodeWrapped(item) : undefined;
      if (!inner || inner instanceof CborError) return diagnostic(item);
      return `<<${print(inner, shape?.wraps, indent, depth + 1)}>>`;
    }
    case 'tag':
      return `${item.tag}(${print(item.item, shape?.tagged?.(item.tag), indent, depth)})`;
    case 'map':
      return printMap(item.entries, shape, indent, depth);
    case 'array':
      return shape?.pair
        ? printPairs(item.items, shape.pair, indent, depth)
        : printArray(item.items, shape, indent, depth);
    default:
      return diagnostic(item);
  }
}

function printMap(
  entries: readonly { readonly key: CborItem; readonly value: CborItem }[],
  shape: Shape | undefined,
  indent: string,
  depth: number,
): string {
  const inside = indent + STEP;
  const lines = entries.map(({ key, value }) => {
    const part = shape?.entry?.(key);
    return `${label(part)}${diagnostic(key)}: ${print(value, part?.shape, inside, depth)}`;
  });
  return block('{', lines, '}', indent);
}

function printArray(
  items: readonly CborItem[],
  shape: Shape | undefined,
  indent: string,
  depth: number,
): string {
  const inside = indent + STEP;
  const lines = items.map((item, index) => {
    const part = shape?.element?.(index);
    return `${label(part)}${print(item, part?.shape, inside, depth)}`;
  });
  return block('[', lines, ']', indent);
}

/** A command sequence, one command and its argument a line. */
function printPairs(
  items: readonly CborItem[],
  pair: (code: CborItem) => Part,
  indent: string,
  depth: number,
): string {
  const lines: string[] = [];
  for (let i = 0; i < items.length; i += 2) {
    const [code, argument] = [items[i]!, items[i + 1]];
    const part = pair(code);
    const rest = argument ? `, ${print(argument, part.shape, indent + STEP, depth)}` : '';
    lines.push(`${label(part)}${diagnostic(code)}${rest}`);
  }
  return block('[', lines, ']', indent);
}

/** The name of a part as a comment; mere positions have none. */
function label(part: Part | undefined): string {
  return part && !/^[0-9]+$/.test(part.name) ? `${comment(part.name)} ` : '';
}

const SHORT = 60;

function block(open: string, lines: readonly string[], close: string, indent: string): string {
  const flat = `${open}${lines.join(', ')}${close}`;
  if (lines.length <= 1 && flat.length <= SHORT) return flat;
  return `${open}\n${lines.map((line) => indent + STEP + line).join(',\n')}\n${indent}${close}`;
}

function comment(text: string): string {
  return `/ ${text.replace(UNSAFE_IN_COMMENT, ' ')} /`;
}

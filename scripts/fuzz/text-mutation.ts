/** Mutations of formats made of lines: records, PEM, JSON, YAML. */
import { mutateBytes } from './byte-mutation.ts';
import type { Random } from './random.ts';

const latin1 = (bytes: Uint8Array): string => Buffer.from(bytes).toString('latin1');
const fromLatin1 = (text: string): Uint8Array => new Uint8Array(Buffer.from(text, 'latin1'));

/** Lines moved, doubled, dropped, cut; words of other examples; numbers grown; or plain byte changes. */
export function mutateText(random: Random, input: Uint8Array, other: Uint8Array): Uint8Array {
  if (random.chance(0.25)) return mutateBytes(random, input, other);
  let text = latin1(input);
  for (let changes = 1 + random.below(3); changes > 0; changes--) text = changed(random, text, latin1(other));
  return fromLatin1(text);
}

function changed(random: Random, text: string, other: string): string {
  switch (random.below(3)) {
    case 0:
      return otherLines(random, text, other);
    case 1:
      return otherWord(random, text, other);
    default:
      return otherEnds(random, text);
  }
}

function otherLines(random: Random, text: string, other: string): string {
  const lines = text.split('\n');
  const at = random.below(lines.length);
  switch (random.below(4)) {
    case 0:
      lines.splice(at, 1);
      break;
    case 1:
      lines.splice(random.below(lines.length), 0, lines[at]!);
      break;
    case 2:
      lines.splice(at, 0, random.pick(other.split('\n')));
      break;
    default:
      lines.splice(random.below(lines.length), 0, ...lines.splice(at, 1));
  }
  return lines.join('\n');
}

const WORD = /[A-Za-z0-9_.+-]+|"[^"]*"|[[\]{}:,]/g;
const WORDS = [
  '0',
  '-1',
  '1e999',
  '0x',
  '99999999999999999999',
  'null',
  'true',
  '{}',
  '[]',
  '""',
  '"',
  '~',
  '*a',
  '&a',
  '!!x',
  '__proto__',
  '\\ud800',
];

function otherWord(random: Random, text: string, other: string): string {
  const words = [...text.matchAll(WORD)];
  if (words.length === 0) return text + random.pick(WORDS);
  const word = random.pick(words);
  const others = random.chance(0.5) ? WORDS : (other.match(WORD) ?? WORDS);
  return text.slice(0, word.index) + random.pick(others) + text.slice(word.index + word[0].length);
}

function otherEnds(random: Random, text: string): string {
  const at = random.below(text.length + 1);
  switch (random.below(4)) {
    case 0:
      return text.slice(0, at);
    case 1:
      return text.replaceAll('\n', random.pick(['\r\n', '\r', '\n\n', '']));
    case 2:
      return (
        text.slice(0, at) +
        random.pick(['\0', '\t', '\xff', '\n', ' ', '[', '{']).repeat(1 + random.below(40)) +
        text.slice(at)
      );
    default:
      return text + text.slice(at);
  }
}

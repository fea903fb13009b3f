/** Properties of the strict profile, and cborg 6.1.5 as the independent judge. */
import * as cborg from 'cborg';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { toHex } from '../../src/bytes/index.ts';
import {
  CborError,
  type CborErrorCode,
  type CborItem,
  CborMap,
  CborTag,
  type CborValue,
  decode,
  diagnostic,
  encode,
} from '../../src/cbor/index.ts';
import { reencode } from './reencode.ts';

const STRICT_JUDGE = {
  strict: true,
  useMaps: true,
  rejectDuplicateMapKeys: true,
  allowIndefinite: false,
  allowUndefined: false,
  allowBigInt: true,
};

/** Text without lone surrogates. */
const text = fc.string({ unit: 'binary', maxLength: 80 });
const integer = fc.oneof(
  fc.maxSafeInteger(),
  fc.integer({ min: -300, max: 300 }),
  fc.bigInt({ min: -(2n ** 64n), max: 2n ** 64n - 1n }).filter((value) => !isSafe(value)),
);
const fraction = fc
  .double({ noNaN: true, noDefaultInfinity: true })
  .filter((value) => !Number.isInteger(value));
const bytes = fc.uint8Array({ maxLength: 70 });
const key = fc.oneof(integer, text);

/** What both encoders take: a plain value for ours, the same value for the judge. */
interface Pair {
  ours: CborValue;
  judge: unknown;
}
const pair: fc.Arbitrary<Pair> = fc.letrec<{ node: Pair }>((tie) => ({
  node: fc.oneof(
    { depthSize: 'small', maxDepth: 5, withCrossShrink: true },
    fc
      .oneof(integer, fraction, text, bytes, fc.boolean(), fc.constant(null))
      .map((value) => ({ ours: value, judge: value })),
    fc.array(tie('node'), { maxLength: 6 }).map((items) => ({
      ours: items.map((item) => item.ours),
      judge: items.map((item) => item.judge),
    })),
    fc
      .uniqueArray(fc.tuple(key, tie('node')), {
        maxLength: 6,
        selector: ([name]) => `${typeof name === 'string'} ${name}`,
      })
      .map((entries) => ({
        ours: new CborMap(entries.map(([name, value]) => [name, value.ours])),
        judge: new Map(entries.map(([name, value]) => [name, value.judge])),
      })),
  ),
})).node;

/** Everything the profile can write, tags included. */
const value: fc.Arbitrary<CborValue> = fc.oneof(
  pair.map(({ ours }) => ours),
  fc
    .tuple(fc.bigInt({ min: 0n, max: 2n ** 64n - 1n }), pair)
    .map(([tag, { ours }]) => new CborTag(tag, ours)),
);

function isSafe(number: bigint): boolean {
  return number >= BigInt(Number.MIN_SAFE_INTEGER) && number <= BigInt(Number.MAX_SAFE_INTEGER);
}

function tryDecode(encoded: Uint8Array): CborItem | CborErrorCode {
  try {
    return decode(encoded);
  } catch (error) {
    if (error instanceof CborError) return error.code;
    throw error;
  }
}

/** The value the judge would give for an item that it reads. */
function plain(item: CborItem): unknown {
  switch (item.type) {
    case 'array':
      return item.items.map(plain);
    case 'map':
      return new Map(item.entries.map((entry) => [plain(entry.key), plain(entry.value)]));
    case 'tag':
      return plain(item.item);
    default:
      return item.value;
  }
}

function holds(item: CborItem, test: (each: CborItem) => boolean): boolean {
  if (test(item)) return true;
  if (item.type === 'array') return item.items.some((each) => holds(each, test));
  if (item.type === 'map')
    return item.entries.some((each) => holds(each.key, test) || holds(each.value, test));
  return item.type === 'tag' && holds(item.item, test);
}

/** Tags it has no decoder for, simple values beyond 20 to 22, keys that are containers. */
const unknownToJudge = (item: CborItem) =>
  item.type === 'tag' ||
  (item.type === 'simple' && (typeof item.value === 'number' || item.value === undefined)) ||
  (item.type === 'map' &&
    item.entries.some((entry) => entry.key.type === 'array' || entry.key.type === 'map'));

describe('round trip', () => {
  it('what is encoded decodes, and is written back to the same bytes', () => {
    fc.assert(
      fc.property(value, (input) => {
        const encoded = encode(input);
        const item = decode(encoded);
        expect(toHex(reencode(item))).toBe(toHex(encoded));
        expect(diagnostic(item).length).toBeGreaterThan(0);
      }),
      { numRuns: 300 },
    );
  });
});

describe('bytes that nobody vouches for', () => {
  it('random bytes decode and are written back, or give a CborError', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 200 }), (input) => {
        const item = tryDecode(input);
        if (typeof item !== 'string') expect(toHex(reencode(item))).toBe(toHex(input));
      }),
      { numRuns: 2000 },
    );
  });
  it('every one-byte change of valid bytes is refused, or decodes and is written back to the same bytes', () => {
    fc.assert(
      fc.property(value, fc.nat(), fc.integer({ min: 1, max: 255 }), (input, place, change) => {
        const mutated = encode(input);
        mutated[place % mutated.length]! ^= change;
        const item = tryDecode(mutated);
        if (typeof item !== 'string') expect(toHex(reencode(item))).toBe(toHex(mutated));
      }),
      { numRuns: 2000 },
    );
  });
  it('cut, extended or spliced bytes never throw anything but a CborError', () => {
    fc.assert(
      fc.property(value, value, fc.nat(), fc.nat(), (first, second, cut, from) => {
        const a = encode(first);
        const b = encode(second);
        const spliced = Uint8Array.of(...a.subarray(0, cut % (a.length + 1)), ...b.subarray(from % b.length));
        const item = tryDecode(spliced);
        if (typeof item !== 'string') expect(toHex(reencode(item))).toBe(toHex(spliced));
      }),
      { numRuns: 1000 },
    );
  });
  it('a prefix of valid bytes is truncated, and nothing else', () => {
    fc.assert(
      fc.property(value, fc.nat(), (input, cut) => {
        const encoded = encode(input);
        expect(tryDecode(encoded.subarray(0, cut % encoded.length))).toBe('truncated');
      }),
      { numRuns: 500 },
    );
  });
});

describe('cborg 6.1.5, RFC 8949 ordering, all its strict options', () => {
  it('encodes the same values to the same bytes', () => {
    fc.assert(
      fc.property(pair, ({ ours, judge }) => {
        const theirs = cborg.encode(judge, cborg.rfc8949EncodeOptions);
        expect(toHex(encode(ours))).toBe(toHex(theirs));
      }),
      { numRuns: 500 },
    );
  });
  it('reads what we encode as the same values', () => {
    fc.assert(
      fc.property(pair, ({ ours, judge }) => {
        expect(cborg.decode(encode(ours), STRICT_JUDGE)).toEqual(judge);
      }),
      { numRuns: 500 },
    );
  });
  it('takes whatever we take, and reads the same (but for tags, other simple values, keys that are containers)', () => {
    fc.assert(
      fc.property(mutatedValue(), (input) => {
        const item = tryDecode(input);
        if (typeof item === 'string' || holds(item, unknownToJudge)) return;
        expect(cborg.decode(input, STRICT_JUDGE)).toEqual(plain(item));
      }),
      { numRuns: 2000 },
    );
  });
  it('refuses whatever we refuse, but for the rules it does not keep (dependencies measured before)', () => {
    const stricter: CborErrorCode[] = [
      'unsorted-keys',
      'duplicate-key',
      'invalid-utf8',
      'not-shortest',
      'nan-payload',
    ];
    fc.assert(
      fc.property(mutatedValue(), (input) => {
        const item = tryDecode(input);
        if (typeof item !== 'string' || stricter.includes(item)) return;
        expect(() => cborg.decode(input, STRICT_JUDGE)).toThrow();
      }),
      { numRuns: 2000 },
    );
  });
});

function mutatedValue(): fc.Arbitrary<Uint8Array> {
  return fc.tuple(value, fc.nat(), fc.nat({ max: 255 })).map(([input, place, change]) => {
    const encoded = encode(input);
    encoded[place % encoded.length]! ^= change;
    return encoded;
  });
}

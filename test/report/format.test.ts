/** SUIT_Report by draft-ietf-suit-report-18 ([RPT]); cborg 6.1.5 is the independent judge of the bytes. */
import * as cborg from 'cborg';
import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { concat, fromHex, toHex } from '../../src/bytes/index.ts';
import { CborMap, type CborValue, encode } from '../../src/cbor/index.ts';
import {
  CAPABILITY_ELEMENTS,
  REASONS,
  REPORT_ELEMENTS,
  REPORT_LIMITS,
  ReportError,
  type ReportErrorCode,
  readReport,
  type SuitReport,
  writeReport,
} from '../../src/report/index.ts';
import { CLAIM, DIGEST, FAILED, IMAGE, parameters, RECORD, SUCCESS, URI } from './samples.ts';

const map = (...entries: [CborValue, CborValue][]) => new CborMap(entries);
const REFERENCE: CborValue = [URI, [-16, DIGEST]];
const RECORD_VALUE: CborValue = [[], 20, 12, 0, map([3, encode([-16, IMAGE])])];
const whole = (changes: Record<number, CborValue | undefined> = {}) => {
  const elements: Record<number, CborValue | undefined> = { 3: [], 4: true, 99: REFERENCE, ...changes };
  return encode(
    map(
      ...Object.entries(elements).flatMap(([key, value]): [CborValue, CborValue][] =>
        value === undefined ? [] : [[Number(key), value]],
      ),
    ),
  );
};

describe('writing', () => {
  it('[RPT] 4 and Appendix A: the smallest report, byte by byte', () => {
    const bytes = writeReport({ ...SUCCESS, records: [] });
    expect(toHex(bytes)).toBe(
      `a3038004f5186382782d${Buffer.from(URI).toString('hex')}822f5820${toHex(DIGEST)}`,
    );
  });

  it('[RPT] 4: cborg reads a failure report as the CDDL has it', () => {
    const read = cborg.decode(writeReport(FAILED), { useMaps: true, strict: true });
    expect([...read.keys()]).toEqual([2, 3, 4, 8, 99]);
    const result = read.get(4);
    expect(result.get(5)).toBe(902);
    expect(result.get(7)).toBe(10);
    const [walk, section, offset, component, properties] = result.get(6);
    expect([walk, section, offset, component]).toEqual([[], 20, 12, 0]);
    expect(cborg.decode(properties.get(3))).toEqual([-16, IMAGE]);
    const entries = [...read.get(8).entries()];
    expect(entries.map(([key]) => key)).toEqual([1, 2, 3, 4, [3, 3, 1]]);
    expect(read.get(8).get(1)).toEqual([[new Uint8Array(Buffer.from('main'))]]);
  });

  it('[RPT] 4.1: system properties are a map with the component under key 0', () => {
    const read = cborg.decode(writeReport(SUCCESS), { useMaps: true });
    const [claim] = read.get(3);
    expect(claim.get(0)).toEqual([new Uint8Array(Buffer.from('main'))]);
    expect(claim.get(5)).toBe(1);
    expect(claim.get(14)).toBe(20_000);
  });

  it('RFC 8949 4.2.1: the same report has the same bytes, which are those of cborg in deterministic order', () => {
    const registered = FAILED.capabilities!.lists.filter(({ key }) => typeof key === 'number');
    const failed = { ...FAILED, capabilities: { ...FAILED.capabilities!, lists: registered } };
    for (const report of [SUCCESS, failed]) {
      const bytes = writeReport(report);
      const theirs = cborg.encode(cborg.decode(bytes, { useMaps: true }), cborg.rfc8949EncodeOptions);
      expect(toHex(theirs)).toBe(toHex(bytes));
    }
  });
});

describe('reading', () => {
  it('gives back what was written', () => {
    for (const report of [SUCCESS, FAILED]) expect(readReport(writeReport(report))).toEqual(report);
  });

  it('[RPT] 4: no order of keys is asked for, so another tool may write its own', () => {
    const inCddlOrder = concat(
      fromHex('a3'),
      ...[99, 3, 4].flatMap((key) => [encode(key), encode(key === 99 ? REFERENCE : key === 3 ? [] : true)]),
    );
    expect(readReport(inCddlOrder)).toEqual({ ...SUCCESS, records: [] });
  });

  it('[RPT] 4.2 and 9: every reason of the registry, 0 to 12, and no other', () => {
    expect([...REASONS.keys()]).toEqual([0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]);
    for (const reason of REASONS.keys()) {
      const bytes = whole({ 4: map([5, 1], [6, RECORD_VALUE], [7, reason]) });
      expect(readReport(bytes).result).toEqual({ code: 1, record: RECORD, reason });
    }
  });

  it('[RPT] 9: the registries of elements', () => {
    expect([...REPORT_ELEMENTS.keys()]).toEqual([2, 3, 4, 5, 6, 7, 8, 99]);
    expect([...CAPABILITY_ELEMENTS.keys()]).toEqual([1, 2, 3, 4, 5, 6, 7, 8, 9, 10]);
  });

  it('[RPT] 3: a record in a dependency names the walk to it', () => {
    const bytes = whole({ 3: [[[1, 0], 7, 3, 2, map()]] });
    expect(readReport(bytes).records).toEqual([
      { kind: 'record', manifestId: [1, 0], section: 7, offset: 3, component: 2, properties: parameters() },
    ]);
  });

  it('[RPT] 6: a component capability may end in true, for all below it', () => {
    const bytes = whole({
      8: map([1, [[fromHex('66'), true], [true]]], [2, [1]], [3, [1]], [4, [-16]]),
    });
    expect(readReport(bytes).capabilities?.components).toEqual([
      { identifier: [fromHex('66')], prefix: true },
      { identifier: [], prefix: true },
    ]);
  });

  it('[RPT] 4: digests of every algorithm of the manifest draft may be referred to', () => {
    const bytes = whole({ 99: [URI, [-44, new Uint8Array(64)]] });
    expect(readReport(bytes).reference.digest.algorithm).toBe(-44);
  });
});

const failing = (more: Partial<Record<5 | 6 | 7, CborValue | undefined>> = {}) => {
  const elements = { 5: 1, 6: RECORD_VALUE, 7: 10, ...more } as Record<number, CborValue | undefined>;
  return whole({
    4: map(
      ...Object.entries(elements).flatMap(([key, value]): [CborValue, CborValue][] =>
        value === undefined ? [] : [[Number(key), value]],
      ),
    ),
  });
};
const capable = (...entries: [CborValue, CborValue][]) =>
  whole({ 8: map([1, [[fromHex('66')]]], [2, [1]], [3, [1]], ...entries) });
const many = (count: number, value: CborValue): CborValue[] => Array.from({ length: count }, () => value);

const REFUSED: readonly [string, ReportErrorCode, Uint8Array][] = [
  ['nothing', 'not-cbor', new Uint8Array()],
  ['bytes behind it', 'not-cbor', concat(whole(), fromHex('00'))],
  ['an indefinite map', 'not-cbor', concat(fromHex('bf'), whole().subarray(1), fromHex('ff'))],
  ['a key twice', 'not-cbor', fromHex('a203800380')],
  ['deep nesting', 'limit', concat(fromHex('a103'), new Uint8Array(40).fill(0x81), fromHex('80'))],
  ['too many bytes', 'limit', new Uint8Array(REPORT_LIMITS.messageSize + 1)],
  ['too many records', 'limit', whole({ 3: many(REPORT_LIMITS.records + 1, RECORD_VALUE) })],
  ['an array', 'structure', encode([])],
  ['no reference', 'element-missing', whole({ 99: undefined })],
  ['no records', 'element-missing', whole({ 3: undefined })],
  ['no result', 'element-missing', whole({ 4: undefined })],
  ['an unknown element', 'element-unknown', whole({ 1: 0 })],
  ['a result element outside the result', 'element-unknown', whole({ 5: 0 })],
  ['a text key', 'element-unknown', encode(map(['3', []]))],
  ['a reference of three', 'structure', whole({ 99: [URI, [-16, DIGEST], 1] as CborValue })],
  ['a URI in bytes', 'structure', whole({ 99: [DIGEST, [-16, DIGEST]] as CborValue })],
  ['a short digest', 'digest', whole({ 99: [URI, [-16, DIGEST.subarray(1)]] as CborValue })],
  ['an unknown digest algorithm', 'digest', whole({ 99: [URI, [-1, DIGEST]] as CborValue })],
  ['an empty nonce', 'limit', whole({ 2: new Uint8Array() })],
  ['a long nonce', 'limit', whole({ 2: new Uint8Array(REPORT_LIMITS.nonceSize + 1) })],
  ['a nonce in text', 'structure', whole({ 2: 'nonce' })],
  ['records in a map', 'structure', whole({ 3: map() })],
  ['a record of four', 'structure', whole({ 3: [[[], 20, 0, 0]] as CborValue })],
  ['a record of six', 'structure', whole({ 3: [[[], 20, 0, 0, map(), 1]] as CborValue })],
  ['a negative offset', 'structure', whole({ 3: [[[], 20, -1, 0, map()]] as CborValue })],
  ['a section in text', 'structure', whole({ 3: [[[], 'install', 0, 0, map()]] as CborValue })],
  ['a bare number as record', 'structure', whole({ 3: [7] })],
  ['an unknown parameter', 'parameter', whole({ 3: [[[], 20, 0, 0, map([999, 1])]] as CborValue })],
  ['a parameter of a wrong type', 'parameter', whole({ 3: [[[], 20, 0, 0, map([14, 'x'])]] as CborValue })],
  ['a claim without component', 'element-missing', whole({ 3: [map([14, 5])] })],
  ['a claim without parameters', 'structure', whole({ 3: [map([0, [fromHex('66')]])] })],
  ['the result false', 'structure', whole({ 4: false })],
  ['a result without reason', 'element-missing', failing({ 7: undefined })],
  ['a result without record', 'element-missing', failing({ 6: undefined })],
  ['a result without code', 'element-missing', failing({ 5: undefined })],
  ['a reason that nobody registered', 'reason-unknown', failing({ 7: 13 })],
  ['a reason in text', 'structure', failing({ 7: 'ok' })],
  ['a float as code', 'structure', failing({ 5: 1.5 })],
  ['capabilities without algorithms', 'element-missing', capable()],
  ['an empty list of capabilities', 'structure', capable([4, []])],
  ['an unknown list of capabilities', 'element-unknown', capable([4, [-16]], [11, [1]])],
];

describe('refusing', () => {
  it.each(REFUSED)('%s', (_name, code, bytes) => {
    expect(refusalFor(bytes)).toBe(code);
  });

  it('every byte string is a report or a ReportError', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 200 }), (bytes) => {
        expect(['read', ...Object.keys(CODES)]).toContain(refusalFor(bytes));
      }),
      { numRuns: 2000 },
    );
  });

  it('every change of a report is read as something else, or refused: never the same', () => {
    const sealed = [SUCCESS, FAILED].map(writeReport);
    fc.assert(
      fc.property(
        fc.constantFrom(...sealed),
        fc.nat(),
        fc.integer({ min: 1, max: 255 }),
        (bytes, at, flip) => {
          const changed = bytes.slice();
          changed[at % bytes.length]! ^= flip;
          const outcome = refusalFor(changed);
          if (outcome !== 'read') return;
          expect(toHex(writeReport(readReport(changed)))).not.toBe(toHex(bytes));
        },
      ),
      { numRuns: 3000 },
    );
  });

  it('every prefix of a report is refused', () => {
    const bytes = writeReport(FAILED);
    for (let length = 0; length < bytes.length; length++) {
      expect(refusalFor(bytes.subarray(0, length))).not.toBe('read');
    }
  });
});

const digest = fc.uint8Array({ minLength: 32, maxLength: 32 });
const properties = fc
  .record(
    {
      1: fc.uint8Array({ minLength: 16, maxLength: 16 }),
      3: digest.map((bytes) => ({ algorithm: -16, bytes })),
      5: fc.nat(),
      14: fc.maxSafeNat(),
    },
    { requiredKeys: ['14'] },
  )
  .map((values) => parameters(...Object.entries(values).map(([k, v]): [number, unknown] => [Number(k), v])));
const record = fc.record({
  kind: fc.constant('record' as const),
  manifestId: fc.array(fc.nat(), { maxLength: 4 }),
  section: fc.constantFrom(0, 3, 7, 8, 9, 16, 20),
  offset: fc.nat(),
  component: fc.nat(),
  properties,
});
const report: fc.Arbitrary<SuitReport> = fc
  .record(
    {
      reference: fc.record({ uri: fc.webUrl(), digest: digest.map((bytes) => ({ algorithm: -16, bytes })) }),
      records: fc.array(
        fc.oneof(
          record,
          properties.map((each) => ({ ...CLAIM, properties: each })),
        ),
        {
          maxLength: 5,
        },
      ),
      result: fc.oneof(
        fc.constant(true as const),
        fc.record({ code: fc.integer(), record, reason: fc.integer({ min: 0, max: 12 }) }),
      ),
      nonce: fc.uint8Array({ minLength: 8, maxLength: 64 }),
    },
    { requiredKeys: ['reference', 'records', 'result'] },
  )
  .map((each) => each);

describe('both ways', () => {
  it('every report is read as it was written', () => {
    fc.assert(
      fc.property(report, (each) => {
        const bytes = writeReport(each);
        expect(readReport(bytes)).toEqual(each);
        expect(toHex(writeReport(readReport(bytes)))).toBe(toHex(bytes));
      }),
      { numRuns: 500 },
    );
  });
});

const CODES: Record<ReportErrorCode, true> = {
  'not-cbor': true,
  limit: true,
  structure: true,
  'element-missing': true,
  'element-unknown': true,
  digest: true,
  'reason-unknown': true,
  parameter: true,
  container: true,
  'content-type': true,
};

function refusalFor(bytes: Uint8Array): ReportErrorCode | 'read' {
  try {
    readReport(bytes);
    return 'read';
  } catch (error) {
    if (error instanceof ReportError) return error.code;
    throw error;
  }
}

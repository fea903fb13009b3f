/** Source: RFC 3284, by section. The table and the modes are checked against the rows and rules printed there. */
import { describe, expect, test } from 'vitest';
import { fromUtf8, sourceOf, toHex, toUtf8 } from '../../src/bytes/index.ts';
import { ADD, CODE_TABLE, COPY, NOOP, RUN } from '../../src/delta/code-table.ts';
import { type DeltaSurvey, surveyDelta } from '../../src/delta/index.ts';
import { appendInteger, integerSize } from '../../src/delta/integer.ts';
import { apply, HEADER, hex, make, refused, windowOf } from './helpers.ts';

const SOURCE = fromUtf8('abcdefghijklmnop');
const TARGET = 'abcdwxyzefghefghefghefghzzzz';

describe('RFC 3284 section 2: integers', () => {
  test('123456789 is ba ef 9a 15', () => {
    const out: number[] = [];
    appendInteger(out, 123456789);
    expect(toHex(Uint8Array.from(out))).toBe('baef9a15');
    expect(integerSize(123456789)).toBe(4);
  });

  test('edges: 0, 127, 128, 2^32 - 1', () => {
    const written = (value: number) => {
      const out: number[] = [];
      appendInteger(out, value);
      return toHex(Uint8Array.from(out));
    };
    expect([0, 127, 128, 2 ** 32 - 1].map(written)).toEqual(['00', '7f', '8100', '8fffffff7f']);
  });

  test('leading zero digits do not change a value: the text does not ask for the shortest form', () => {
    expect(
      apply(hex(HEADER, windowOf({ size: 3, data: '61', codes: '00 80 80 80 80 03' })), SOURCE, 3),
    ).toEqual(fromUtf8('aaa'));
  });
});

describe('RFC 3284 section 3: the worked example', () => {
  // COPY 4, 0; ADD 4, w x y z; COPY 4, 4; COPY 12, 24; RUN 4, z: one code each, addresses in SELF mode.
  const steps = { data: '7778797a 7a', codes: '14 05 14 1c 0004', addresses: '00 04 18' };
  const byHand = hex(HEADER, windowOf({ segment: '01 10 00', size: 28, ...steps }));

  test('its five instructions make its target', () => {
    expect(toUtf8(apply(byHand, SOURCE, 28))).toBe(TARGET);
  });

  test('our delta of it is no longer, and makes its target', () => {
    const delta = make(SOURCE, fromUtf8(TARGET));
    expect(toUtf8(apply(delta, SOURCE, 28))).toBe(TARGET);
    expect(delta.length).toBeLessThanOrEqual(byHand.length);
  });

  test('the delta that xdelta3 3.0.11 (Debian) makes of it', () => {
    const theirs = hex('d6c3c400 00 01 04 00 17 1c 00 0c 04 02', '7778797a656667687a7a7a7a 14091c05 000c');
    expect(toUtf8(apply(theirs, SOURCE, 28))).toBe(TARGET);
  });
});

describe('RFC 3284 section 4.2: windows', () => {
  test('a source segment is a part of the precursor; addresses count from its start', () => {
    const delta = hex(HEADER, windowOf({ segment: '01 04 08', size: 4, codes: '14', addresses: '00' }));
    expect(toUtf8(apply(delta, SOURCE, 4))).toBe('ijkl');
  });

  test('VCD_TARGET: a source segment in the target written before', () => {
    const first = windowOf({ size: 6, data: '616263646566', codes: '07' });
    const second = windowOf({ segment: '02 04 01', size: 8, codes: '14 14', addresses: '00 04' });
    expect(toUtf8(apply(hex(HEADER, first, second), SOURCE, 14))).toBe('abcdefbcdebcde');
  });

  test('a delta without windows, and one with an empty window (as xdelta3 makes it), make nothing', () => {
    expect(apply(hex(HEADER), SOURCE, 0).length).toBe(0);
    expect(apply(hex(HEADER, '00 05 00 00 00 00 00'), SOURCE, 0).length).toBe(0);
    expect(toHex(make(SOURCE, new Uint8Array(0)))).toBe('d6c3c40000');
  });

  test('the survey tells sizes and reach before anything is applied', () => {
    const first = windowOf({ segment: '01 04 08', size: 4, codes: '14', addresses: '00' });
    const second = windowOf({ segment: '02 02 01', size: 5, codes: '15', addresses: '00' });
    const survey: DeltaSurvey = {
      windows: 2,
      targetSize: 9,
      largestWindow: 5,
      precursorReach: 12,
      readsTarget: true,
    };
    expect(surveyDelta(sourceOf(hex(HEADER, first, second)))).toEqual(survey);
  });
});

describe('RFC 3284 section 5.3: address modes', () => {
  const copies = (codes: string, addresses: string, size: number) =>
    toUtf8(apply(hex(HEADER, windowOf({ segment: '01 10 00', size, codes, addresses })), SOURCE, size));

  test('SELF counts from the start of the segment, HERE back from the current location', () => {
    expect(copies('14 24', '02 10', 8)).toBe('cdefefgh');
  });

  test('near modes count from the last four addresses, oldest slot first', () => {
    expect(copies('14 14 14 14 34 44 54 64', '01 02 03 04 01 01 01 01', 32)).toBe(
      'bcdecdefdefgefghcdefdefgefghfghi',
    );
  });

  test('a near slot is taken over in turn: the fifth copy replaces the first address', () => {
    expect(copies('14 14 14 14 14 34', '01 02 03 04 08 00', 24).slice(20)).toBe('ijkl');
  });

  test('same modes write one byte, the address modulo 768', () => {
    expect(copies('14 74', '03 03', 8)).toBe('defgdefg');
  });

  test('same modes 1 and 2 hold addresses from 256 and 512 on', () => {
    const source = new Uint8Array(900).map((_, index) => index % 251);
    const parts = { segment: '01 8704 00', size: 16, codes: '14 84 14 94', addresses: '8206 06 8407 07' };
    const image = apply(hex(HEADER, windowOf(parts)), source, 16);
    expect([...image]).toEqual(
      [262, 263, 264, 265, 262, 263, 264, 265, 519, 520, 521, 522, 519, 520, 521, 522].map((at) => at % 251),
    );
  });

  test('both caches begin again with each window', () => {
    const window = windowOf({ segment: '01 10 00', size: 4, codes: '14', addresses: '05' });
    const near = windowOf({ segment: '01 10 00', size: 4, codes: '34', addresses: '01' });
    expect(toUtf8(apply(hex(HEADER, window, near), SOURCE, 8))).toBe('fghibcde');
  });

  test('a copy may begin in the window and reach into what it makes', () => {
    expect(
      toUtf8(
        apply(
          hex(HEADER, windowOf({ size: 9, data: '6162', codes: '03 13 07', addresses: '00' })),
          SOURCE,
          9,
        ),
      ),
    ).toBe('ababababa');
  });
});

describe('RFC 3284 section 5.6: the default code table', () => {
  const single = (code: number) => CODE_TABLE[code]!;
  const none = { type: NOOP, size: 0, mode: 0 };

  test('row 1 and 2: RUN at 0, ADD from 1 to 18', () => {
    expect(CODE_TABLE).toHaveLength(256);
    expect(single(0)).toEqual([{ type: RUN, size: 0, mode: 0 }, none]);
    for (let size = 0; size <= 17; size++)
      expect(single(1 + size)).toEqual([{ type: ADD, size, mode: 0 }, none]);
  });

  test('rows 3 to 11: COPY of size 0 and 4 to 18, 16 codes for each mode from 19 on', () => {
    const sizes = [0, ...Array.from({ length: 15 }, (_, index) => index + 4)];
    for (let mode = 0; mode <= 8; mode++) {
      sizes.forEach((size, index) => {
        expect(single(19 + 16 * mode + index)).toEqual([{ type: COPY, size, mode }, none]);
      });
    }
  });

  test('rows 12 to 20: ADD and COPY', () => {
    const starts = [163, 175, 187, 199, 211, 223, 235, 239, 243];
    const first = (mode: number) => [
      { type: ADD, size: 1, mode: 0 },
      { type: COPY, size: 4, mode },
    ];
    const last = (mode: number) => [
      { type: ADD, size: 4, mode: 0 },
      { type: COPY, size: mode < 6 ? 6 : 4, mode },
    ];
    starts.forEach((start, mode) => {
      expect(single(start)).toEqual(first(mode));
      expect(single((starts[mode + 1] ?? 247) - 1)).toEqual(last(mode));
    });
    expect(single(163 + 4)).toEqual([
      { type: ADD, size: 2, mode: 0 },
      { type: COPY, size: 5, mode: 0 },
    ]);
  });

  test('row 21: COPY of 4 and ADD of 1, one code for each mode from 247 on', () => {
    for (let mode = 0; mode <= 8; mode++) {
      expect(single(247 + mode)).toEqual([
        { type: COPY, size: 4, mode },
        { type: ADD, size: 1, mode: 0 },
      ]);
    }
  });

  test('both halves of a shared code are executed in order', () => {
    const parts = { segment: '01 10 00', size: 10, data: '7879', codes: 'a3 f7', addresses: '00 04' };
    expect(toUtf8(apply(hex(HEADER, windowOf(parts)), SOURCE, 10))).toBe('xabcdefghy');
    refused('truncated', () => apply(hex(HEADER, windowOf({ ...parts, data: '78' })), SOURCE, 10));
  });
});

/** Source: RFC 3284, by section; limits from src/delta/limits.ts. */
import { readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { describe, expect, test } from 'vitest';
import { fromUtf8, sourceOf } from '../../src/bytes/index.ts';
import {
  applyDelta,
  DELTA_ERROR_CODES,
  DELTA_LIMITS,
  DeltaError,
  makeDelta,
  surveyDelta,
} from '../../src/delta/index.ts';
import { apply, HEADER, hex, make, refused, windowOf } from './helpers.ts';

const SOURCE = fromUtf8('abcdefghijklmnop');
const window = { segment: '01 10 00', size: 4, codes: '14', addresses: '00' };
const applied =
  (...parts: string[]) =>
  () =>
    apply(hex(...parts), SOURCE, 4);

describe('RFC 3284 section 4.1: header', () => {
  test('another beginning, or none', () => {
    refused('not-vcdiff', applied('d6c3c5 00 00'), 0);
    refused('not-vcdiff', applied('d6c3'), 0);
    refused('not-vcdiff', applied(''), 0);
    refused('truncated', applied('d6c3c400'), 4);
  });

  test('another version, such as 0x53, which common practice gives to a format of its own', () => {
    refused('unknown-version', applied('d6c3c4 53 00'), 3);
  });

  test('secondary compression, own code table, application data, undefined bits', () => {
    refused('secondary-compression', applied('d6c3c400 01 02'), 4);
    refused('custom-code-table', applied('d6c3c400 02 00'), 4);
    refused('application-header', applied('d6c3c400 04 00'), 4);
    refused('bad-indicator', applied('d6c3c400 08'), 4);
  });
});

describe('RFC 3284 section 4.2: window header', () => {
  test('both kinds of segment at once, undefined bits', () => {
    refused('bad-indicator', applied(HEADER, windowOf({ ...window, segment: '03 10 00' })), 5);
    refused('bad-indicator', applied(HEADER, windowOf({ ...window, segment: '81 10 00' })), 5);
  });

  test('a checksum outside the RFC', () => {
    refused('window-checksum', applied(HEADER, windowOf({ ...window, segment: '05 10 00' })), 5);
  });

  test('a source segment beyond the precursor: refused before the first byte is written', () => {
    const first = windowOf({ size: 1, data: '61', codes: '02' });
    const delta = sourceOf(hex(HEADER, first, windowOf({ ...window, segment: '01 10 01', size: 3 })));
    const target = { write: () => expect.unreachable('it was written') };
    refused('outside-precursor', () =>
      applyDelta({ delta, precursor: sourceOf(SOURCE), targetSize: 4, target }),
    );
  });

  test('a source segment beyond the target written so far', () => {
    const first = windowOf({ size: 1, data: '61', codes: '02' });
    const second = windowOf({ segment: '02 02 00', size: 3, codes: '13 03', addresses: '00' });
    refused('outside-target', applied(HEADER, first, second), 5 + first.length / 2);
  });

  test('VCD_TARGET where the target cannot be read back', () => {
    const first = windowOf({ size: 1, data: '61', codes: '02' });
    const second = windowOf({ segment: '02 01 00', size: 3, codes: '13 03', addresses: '00' });
    const delta = sourceOf(hex(HEADER, first, second));
    const target = { write: () => expect.unreachable('it was written') };
    refused('no-read-back', () => applyDelta({ delta, precursor: sourceOf(SOURCE), targetSize: 4, target }));
  });

  test('compressed sections, undefined bits of the delta indicator', () => {
    refused('secondary-compression', applied(HEADER, '01 10 00 07 04 01 00 01 01 14 00'), 10);
    refused('bad-indicator', applied(HEADER, '01 10 00 07 04 08 00 01 01 14 00'), 10);
  });

  test('sections that do not fill the window, or run over it', () => {
    refused('section-lengths', applied(HEADER, '01 10 00 07 04 00 00 01 00 14 00'), 14);
    refused('section-lengths', applied(HEADER, '01 10 00 07 04 00 01 01 01 14 00'), 14);
  });

  test('cut short anywhere', () => {
    const whole = hex(HEADER, windowOf(window));
    for (let size = HEADER.length / 2 + 1; size < whole.length; size++) {
      refused('truncated', () => apply(whole.subarray(0, size), SOURCE, 4));
    }
  });

  test('bytes behind the last window are another window', () => {
    refused('truncated', applied(HEADER, windowOf(window), '00'));
    refused('bad-indicator', applied(HEADER, windowOf(window), 'f8'));
    refused('wrong-size', applied(HEADER, windowOf(window), windowOf(window)));
  });

  test('an image of another size than the release names', () => {
    refused('wrong-size', () => apply(hex(HEADER, windowOf(window)), SOURCE, 5));
    refused('wrong-size', () => apply(hex(HEADER), SOURCE, 1));
  });
});

describe('RFC 3284 sections 3, 5 and 6: instructions', () => {
  test('an integer of more than 32 bits, or of more than five digits', () => {
    refused('integer-too-large', applied(HEADER, '01 90 80 80 80 00'), 6);
    refused('integer-too-large', applied(HEADER, '01 80 80 80 80 80 01'), 6);
  });

  test('an address at or behind the current location, or before the segment', () => {
    refused('bad-address', applied(HEADER, windowOf({ ...window, addresses: '10' })), 15);
    refused('bad-address', applied(HEADER, windowOf({ ...window, codes: '24', addresses: '11' })), 15);
    refused('bad-address', applied(HEADER, windowOf({ ...window, codes: '24', addresses: '00' })), 15);
  });

  test('a copy across the end of the source segment', () => {
    refused('crossing-copy', applied(HEADER, windowOf({ ...window, addresses: '0d' })));
    refused('crossing-copy', applied(HEADER, windowOf({ ...window, segment: '01 03 00' })));
  });

  test('instructions that make more than the window', () => {
    refused('window-overrun', applied(HEADER, windowOf({ ...window, codes: '15' })));
    refused('window-overrun', applied(HEADER, windowOf({ ...window, data: '61', codes: '14 00 01' })));
  });

  test('instructions that make less than the window', () => {
    refused('window-short', applied(HEADER, windowOf({ size: 4, data: '61', codes: '02' })));
  });

  test('sections that run out before the instructions do', () => {
    refused('truncated', applied(HEADER, windowOf({ size: 4, data: '61', codes: '05' })));
    refused('truncated', applied(HEADER, windowOf({ size: 4, codes: '00 04' })));
    refused('truncated', applied(HEADER, windowOf({ ...window, addresses: '' })));
    refused('truncated', applied(HEADER, windowOf({ ...window, addresses: '80' })));
    refused('truncated', applied(HEADER, windowOf({ ...window, codes: '13' })));
  });

  test('data or addresses that no instruction uses', () => {
    refused('left-over', applied(HEADER, windowOf({ ...window, data: '61' })));
    refused('left-over', applied(HEADER, windowOf({ ...window, addresses: '00 00' })));
  });
});

describe('limits: what a delta asks for is checked before it is set aside', () => {
  /** Claims a target window of this size (an integer of five digits) with hardly any instructions behind it. */
  const claiming = (size: string) => hex(HEADER, '00', '0a', size, '00 00 01 00 01');

  test('a target window', () => {
    const error = refused('too-large', () => apply(claiming('8f ff ff ff 7f'), SOURCE, 2 ** 20));
    expect(error.message).toContain(`the limit is ${DELTA_LIMITS.targetWindow.value}`);
    const delta = hex(HEADER, windowOf(window));
    refused('too-large', () => apply(delta, SOURCE, 4, { targetWindow: 3 }), 5);
    expect(apply(delta, SOURCE, 4, { targetWindow: 4 }).length).toBe(4);
  });

  test('the whole target', () => {
    const delta = hex(HEADER, windowOf(window), windowOf(window));
    refused('too-large', () => apply(delta, SOURCE, 8, { target: 7 }), 16);
    expect(apply(delta, SOURCE, 8, { target: 8 }).length).toBe(8);
  });

  test('the number of windows', () => {
    const empty = '00 05 00 00 00 00 00';
    refused(
      'too-many-windows',
      () => surveyDelta(sourceOf(hex(HEADER, empty, empty, empty)), { windows: 2 }),
      19,
    );
    refused('too-many-windows', () =>
      surveyDelta(sourceOf(hex(HEADER, empty.repeat(DELTA_LIMITS.windows.value + 1)))),
    );
  });

  test('making: images beyond the limits, windows of a wrong size', () => {
    const huge = (size: number) => ({ size, read: () => expect.unreachable('it was read') });
    const small = sourceOf(SOURCE);
    const { precursor, target } = DELTA_LIMITS;
    refused('too-large', () => [...makeDelta({ precursor: huge(precursor.value + 1), target: small })]);
    refused('too-large', () => [...makeDelta({ precursor: small, target: huge(target.value + 1) })]);
    for (const windowSize of [0, 1.5, -1, DELTA_LIMITS.targetWindow.value + 1]) {
      expect(() => make(SOURCE, SOURCE, windowSize)).toThrow(RangeError);
    }
  });

  test('each has a reason', () => {
    for (const { value, reason } of Object.values(DELTA_LIMITS)) {
      expect(value).toBeGreaterThan(0);
      expect(reason.length).toBeGreaterThan(30);
    }
  });
});

describe('delta refusals', () => {
  test('every code has a test that raises it', () => {
    const folder = fileURLToPath(new URL('.', import.meta.url));
    const names = readdirSync(folder).filter((name) => name.endsWith('.test.ts'));
    const tests = names.map((name) => readFileSync(`${folder}/${name}`, 'utf8')).join('\n');
    expect(DELTA_ERROR_CODES.filter((code) => !tests.includes(`refused('${code}'`))).toEqual([]);
  });

  test('a message says where, what happened, what it means and what to do next', () => {
    const error = new DeltaError('left-over', 'the data section has 2 bytes left over', 7);
    expect(error.message).toBe(
      `byte 7: the data section has 2 bytes left over. ${error.means} ${error.next}`,
    );
  });
});

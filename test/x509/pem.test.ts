import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { fromPem, onePem, toPem, X509Error } from '../../src/x509/index.ts';

function refusal(run: () => unknown): { code: string; line: number | undefined } {
  try {
    run();
  } catch (error) {
    if (error instanceof X509Error) return { code: error.code, line: error.line };
    throw error;
  }
  return { code: 'accepted', line: undefined };
}

const block = toPem('CERTIFICATE', new Uint8Array(100).fill(7));

describe('RFC 7468: textual encodings', () => {
  test('section 2: lines of 64 characters between boundaries of the same label', () => {
    const lines = block.split('\n');
    expect(lines[0]).toBe('-----BEGIN CERTIFICATE-----');
    expect(lines.slice(1, 4).map((line) => line.length)).toEqual([64, 64, 8]);
    expect(lines.slice(4)).toEqual(['-----END CERTIFICATE-----', '']);
  });

  test('section 5.2: text around the blocks is passed over, line ends may be CR LF', () => {
    const text = `subject=x\r\n${block.replaceAll('\n', '\r\n')}\r\nmore\r\n${toPem('X509 CRL', new Uint8Array(3))}`;
    expect(fromPem(text).map(({ label, der, line }) => [label, der.length, line])).toEqual([
      ['CERTIFICATE', 100, 2],
      ['X509 CRL', 3, 9],
    ]);
  });

  test('a text without a block, a block that is not closed, and a wrong closing label are refused by line', () => {
    expect(refusal(() => fromPem('no block'))).toEqual({ code: 'pem-missing', line: undefined });
    expect(refusal(() => fromPem(block.replace(/-----END.*\n/, '')))).toEqual({
      code: 'pem-boundary',
      line: 1,
    });
    expect(refusal(() => fromPem(block.replace('END CERTIFICATE', 'END X509 CRL')))).toEqual({
      code: 'pem-boundary',
      line: 5,
    });
    expect(refusal(() => fromPem(`-----BEGIN CERTIFICATE-----\n${block}`))).toEqual({
      code: 'pem-boundary',
      line: 2,
    });
  });

  test('RFC 4648 3.3, 3.5: only canonical base64 inside', () => {
    const wrap = (body: string) => `-----BEGIN CERTIFICATE-----\n${body}\n-----END CERTIFICATE-----\n`;
    for (const body of ['AAA', 'AAB=', 'AA A', 'A===', 'AA==\nAAAA', 'Proc-Type: 4,ENCRYPTED', '', '*']) {
      expect(refusal(() => fromPem(wrap(body))).code, body).toBe('pem-base64');
    }
    expect(refusal(() => fromPem(wrap('AAAA\nA-AA')))).toEqual({ code: 'pem-base64', line: 3 });
  });

  test('where one certificate is wanted, another label or a second block is refused', () => {
    expect(onePem(block, 'CERTIFICATE').length).toBe(100);
    expect(refusal(() => onePem(block, 'PUBLIC KEY'))).toEqual({ code: 'pem-label', line: 1 });
    expect(refusal(() => onePem(block + block, 'CERTIFICATE'))).toEqual({ code: 'pem-label', line: 6 });
  });

  test('any bytes come back', () => {
    fc.assert(
      fc.property(fc.uint8Array({ minLength: 1, maxLength: 300 }), (der) => {
        expect(fromPem(toPem('CERTIFICATE', der))[0]?.der).toEqual(der);
      }),
    );
  });

  test('any text: blocks or an X509Error', () => {
    const piece = fc.constantFrom('-----BEGIN A-----', '-----END A-----', 'AAAA', 'AA==', '\n', '=', 'x');
    fc.assert(fc.property(fc.array(piece), (pieces) => void refusal(() => fromPem(pieces.join('\n')))));
  });
});

import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { formatTokenUri, KeyError, parseTokenUri } from '../../src/keys/index.ts';
import { failureOf } from './support.ts';

describe('RFC 7512 2.3: pkcs11: URIs', () => {
  it('names token and object', () => {
    expect(parseTokenUri('pkcs11:token=Line%20keys;object=line-1;type=private')).toEqual({
      token: 'Line keys',
      object: 'line-1',
    });
  });

  it('attributes come in any order; an identifier is bytes, percent-encoded or not', () => {
    expect(parseTokenUri('pkcs11:id=%00a%ff;serial=0123;token=T')).toEqual({
      token: 'T',
      serial: '0123',
      id: Uint8Array.of(0, 0x61, 0xff),
    });
  });

  it('takes the delimiters that need no encoding', () => {
    expect(parseTokenUri("pkcs11:token=a:b[c]@!$'()*+,=&d").token).toBe("a:b[c]@!$'()*+,=&d");
  });

  it('section 3: a URI as token listings give it, with maker and model', () => {
    const uri =
      'pkcs11:model=1.0;manufacturer=Snake%20Oil,%20Inc.;serial=;token=The%20Software%20PKCS%2311%20Softtoken;object=k';
    expect(parseTokenUri(uri)).toEqual({
      token: 'The Software PKCS#11 Softtoken',
      manufacturer: 'Snake Oil, Inc.',
      model: '1.0',
      object: 'k',
    });
  });

  it.each([
    ['another scheme', 'file:token=T'],
    ['no token', 'pkcs11:object=k'],
    ['an empty token', 'pkcs11:token='],
    ['an attribute twice', 'pkcs11:token=T;token=U'],
    ['an attribute without value', 'pkcs11:token'],
    ['an attribute that is not used here', 'pkcs11:token=T;slot-id=1'],
    ['a character that must be encoded', 'pkcs11:token=a b'],
    ['half an escape', 'pkcs11:token=a%2'],
    ['text that is not UTF-8', 'pkcs11:token=%ff'],
    ['an empty path', 'pkcs11:'],
    ['a module, which a workspace must not choose', 'pkcs11:token=T?module-path=/tmp/evil.so'],
    ['a PIN source', 'pkcs11:token=T?pin-source=file:/etc/pin'],
  ])('refuses %s', async (_, uri) => {
    expect((await failureOf(() => parseTokenUri(uri))).code).toBe('token-uri');
  });

  it('2.4: refuses a pin-value and never repeats it', async () => {
    for (const uri of [
      'pkcs11:token=T?pin-value=98765',
      'pkcs11:token=T?x=1&pin-value=98765',
      'pkcs11:token=T;pin-value=98765',
    ]) {
      const error = await failureOf(() => parseTokenUri(uri));
      expect(error.message + error.hint).not.toContain('98765');
    }
  });

  it('what is written is read back', () => {
    const place = fc.record({
      token: fc.string({ minLength: 1, unit: 'grapheme' }),
      object: fc.string({ minLength: 1, unit: 'grapheme' }),
      id: fc.uint8Array({ minLength: 1, maxLength: 20 }),
    });
    fc.assert(
      fc.property(place, (uri) => {
        expect(parseTokenUri(formatTokenUri(uri))).toEqual(uri);
      }),
    );
  });

  it('any text gives a place or a coded refusal', () => {
    const pieces = fc.constantFrom(
      'pkcs11:',
      'token=',
      ';',
      'object=',
      '?',
      '&',
      '%',
      '%41',
      'a',
      '=',
      'id=',
      '\u0000',
    );
    fc.assert(
      fc.property(
        fc.array(pieces).map((parts) => parts.join('')),
        (text) => {
          try {
            expect(parseTokenUri(text).token.length).toBeGreaterThan(0);
          } catch (error) {
            expect(error).toBeInstanceOf(KeyError);
          }
        },
      ),
    );
  });
});

/** Reading COSE messages: RFC 9052 sections 2, 3, 4.1, 4.2, 6.1, 6.2; header types of section 3.1 and RFC 9360. */
import { describe, expect, it } from 'vitest';
import { fromHex, fromUtf8, toHex } from '../../src/bytes/index.ts';
import { CborMap, CborTag, type CborValue, encode } from '../../src/cbor/index.ts';
import { CoseError, type CoseErrorCode, decodeCose, LABEL, type MacMessage } from '../../src/cose/index.ts';

type Pairs = [CborValue, CborValue][];
const SIGNATURE = new Uint8Array(64);
const bucket = (pairs: Pairs) => new CborMap(pairs);
const sign1 = (authenticated: Pairs, open: Pairs = []) =>
  encode(new CborTag(18, [encode(bucket(authenticated)), bucket(open), null, SIGNATURE]));

function codeOf(bytes: Uint8Array, options = {}): CoseErrorCode | 'read' {
  try {
    decodeCose(bytes, options);
    return 'read';
  } catch (error) {
    if (error instanceof CoseError) return error.code;
    throw error;
  }
}

describe('RFC 9052 2: tags', () => {
  const body = [new Uint8Array(0), bucket([]), null, SIGNATURE];
  it.each([
    [18, 'sign1', body],
    [17, 'mac0', body],
    [98, 'sign', [...body.slice(0, 3), [[new Uint8Array(0), bucket([]), SIGNATURE]]]],
    [97, 'mac', [...body, [[new Uint8Array(0), bucket([]), null]]]],
  ])('%i is %s', (tag, kind, elements) => {
    expect(decodeCose(encode(new CborTag(tag, elements)))).toMatchObject({ kind, tag, payload: null });
  });
  it.each([
    [16, 'kind-unsupported'],
    [96, 'kind-unsupported'],
    [19, 'tag-unknown'],
    [998, 'tag-unknown'],
  ])('%i: %s', (tag, code) => expect(codeOf(encode(new CborTag(tag, body)))).toBe(code));
  it('untagged is refused unless the caller allows it and says what it is', () => {
    expect(codeOf(encode(body))).toBe('tag-missing');
    expect(codeOf(encode(body), { requireTag: false })).toBe('tag-missing');
    expect(codeOf(encode(body), { kind: 'sign1' })).toBe('tag-missing');
    const read = decodeCose(encode(body), { requireTag: false, kind: 'mac0' });
    expect(read).toMatchObject({ kind: 'mac0', tag: undefined });
  });
  it('a tag that contradicts the expected kind is refused', () => {
    expect(codeOf(encode(new CborTag(18, body)), { kind: 'mac0' })).toBe('kind-mismatch');
  });
  it('tags inside tags, bytes before and after are refused', () => {
    const bytes = encode(new CborTag(18, body));
    expect(codeOf(encode(new CborTag(18, new CborTag(18, body))))).toBe('structure');
    expect(codeOf(Uint8Array.of(...bytes, 0))).toBe('not-cbor');
    expect(codeOf(bytes.subarray(0, bytes.length - 1))).toBe('not-cbor');
  });
});

describe('RFC 9052 4.1, 4.2, 6.1, 6.2: elements', () => {
  const empty = new Uint8Array(0);
  const none = bucket([]);
  it.each<[string, number, CborValue]>([
    ['three elements', 18, [empty, none, null]],
    ['five elements', 18, [empty, none, null, SIGNATURE, SIGNATURE]],
    ['a map for an array', 18, none],
    ['protected as a map', 18, [none, none, null, SIGNATURE]],
    ['protected holding an array', 18, [fromHex('80'), none, null, SIGNATURE]],
    ['unprotected as bytes', 18, [empty, empty, null, SIGNATURE]],
    ['a text payload', 18, [empty, none, 'payload', SIGNATURE]],
    ['false for a payload', 18, [empty, none, false, SIGNATURE]],
    ['no signature', 18, [empty, none, null, null]],
    ['a signer list in a Sign1', 18, [empty, none, null, [[empty, none, SIGNATURE]]]],
    ['no signers', 98, [empty, none, null, []]],
    ['a signer of two elements', 98, [empty, none, null, [[empty, none]]]],
    ['no recipients', 97, [empty, none, null, SIGNATURE, []]],
    ['a recipient of two elements', 97, [empty, none, null, SIGNATURE, [[empty, none]]]],
    ['nested recipients that are none', 97, [empty, none, null, SIGNATURE, [[empty, none, null, []]]]],
  ])('%s', (_, tag, elements) => expect(codeOf(encode(new CborTag(tag, elements)))).toBe('structure'));
  it('a carried payload is read', () => {
    const message = decodeCose(encode(new CborTag(18, [empty, none, fromUtf8('carried'), SIGNATURE])));
    expect(message.payload).toEqual(fromUtf8('carried'));
  });
  it('recipients of a COSE_Mac are read, nested ones too', () => {
    const inner = [empty, bucket([[1, -3]]), fromHex('aa')];
    const message = decodeCose(
      encode(new CborTag(97, [empty, none, null, SIGNATURE, [[empty, bucket([[1, -29]]), null, [inner]]]])),
    ) as MacMessage;
    expect(message.recipients[0]!.headers.get(LABEL.alg)).toMatchObject({ value: -29 });
    expect(message.recipients[0]!.recipients[0]!.ciphertext).toEqual(fromHex('aa'));
  });
});

describe('RFC 9052 3: header buckets', () => {
  it("an empty protected header may be h'' or h'a0'", () => {
    const of = (bytes: string) => encode(new CborTag(18, [fromHex(bytes), bucket([]), null, SIGNATURE]));
    for (const bytes of ['', 'a0']) {
      const { headers } = decodeCose(of(bytes));
      expect([toHex(headers.protectedBytes), headers.entries]).toEqual([bytes, []]);
    }
  });
  it('parameters are found in either bucket, and protectedGet finds the protected ones only', () => {
    const { headers } = decodeCose(
      sign1(
        [
          [1, -9],
          ['own', true],
        ],
        [[4, fromUtf8('k')]],
      ),
    );
    expect(headers.get(LABEL.alg)).toMatchObject({ type: 'nint', value: -9 });
    expect(headers.get('own')).toMatchObject({ value: true });
    expect(headers.get(LABEL.kid)).toMatchObject({ type: 'bytes' });
    expect(headers.protectedGet(LABEL.kid)).toBeUndefined();
    expect(headers.entries.map(({ label, isProtected }) => [label, isProtected])).toEqual([
      [1, true],
      ['own', true],
      [4, false],
    ]);
  });
  it('spans of protected parameters count from the start of the message, or from base', () => {
    const bytes = sign1([
      [1, -9],
      [4, fromHex('cafe')],
    ]);
    const at = toHex(bytes).indexOf('42cafe') / 2;
    expect(decodeCose(bytes).headers.get(LABEL.kid)).toMatchObject({ start: at, end: at + 3 });
    expect(decodeCose(bytes, { base: 100 }).headers.get(LABEL.kid)).toMatchObject({ start: at + 100 });
  });
  it.each([
    ['protected', 'd28445a201260126a0f640'],
    ['unprotected', 'd28440a204400440f640'],
    ['unprotected, apart', 'd28440a3044003000440f640'],
  ])('a label twice in the %s bucket is refused', (_, hex) => {
    expect(codeOf(fromHex(hex))).toBe('duplicate-label');
  });
  it('a label in both buckets is refused', () => {
    expect(codeOf(sign1([[1, -9]], [[1, -9]]))).toBe('label-in-both');
    expect(codeOf(sign1([['a', 1]], [['a', 1]]))).toBe('label-in-both');
  });
  it('a stranger may leave labels unsorted', () => {
    expect(codeOf(fromHex('d28446a20441000126a0f640'))).toBe('read');
  });
  it.each([
    ['1.5', 1.5],
    ['an array', [1]],
    ['true', true],
    ['bytes', fromHex('01')],
  ])('%s is no label', (_, label) => {
    expect(codeOf(sign1([[label, 0]]))).toBe('header-malformed');
    expect(codeOf(sign1([], [[label, 0]]))).toBe('header-malformed');
  });
  it('CBOR that is not strict in the protected header is refused at its byte', () => {
    try {
      decodeCose(fromHex('d28444a1013806a0f640'));
      expect.unreachable();
    } catch (error) {
      expect(error).toMatchObject({ code: 'not-cbor', offset: 5 });
      expect((error as CoseError).message).toContain('shortest form');
    }
  });
});

describe('RFC 9052 3.1, RFC 9360 2: the type of each parameter', () => {
  const certificate = fromHex('3000');
  const uri = new CborTag(32, 'https://hollinridge.example/signer.cer');
  it.each<[string, number, CborValue]>([
    ['alg an integer', LABEL.alg, -9],
    ['alg a text', LABEL.alg, 'ours'],
    ['content type a number', LABEL.contentType, 60],
    ['content type a text', LABEL.contentType, 'application/cbor'],
    ['kid', LABEL.kid, fromHex('00')],
    ['kid a text, as the working group has it in x509-examples/signed-01', LABEL.kid, 'Alice Lovelace'],
    ['IV', LABEL.iv, new Uint8Array(16)],
    ['x5chain of one', LABEL.x5chain, certificate],
    ['x5chain of two', LABEL.x5chain, [certificate, certificate]],
    ['x5bag', LABEL.x5bag, [certificate, certificate]],
    ['x5t', LABEL.x5t, [-16, new Uint8Array(32)]],
    ['x5t by name', LABEL.x5t, ['ours', new Uint8Array(32)]],
    ['x5u', LABEL.x5u, uri],
    ['a label we do not know', 7777, [null]],
  ])('%s is read', (_, label, value) => {
    expect(codeOf(sign1([[label, value]]))).toBe('read');
    expect(codeOf(sign1([], [[label, value]]))).toBe('read');
  });
  it.each<[string, number, CborValue]>([
    ['alg bytes', LABEL.alg, fromHex('26')],
    ['crit empty', LABEL.crit, []],
    ['crit no array', LABEL.crit, 1],
    ['crit of bytes', LABEL.crit, [fromHex('01')]],
    ['content type negative', LABEL.contentType, -1],
    ['kid a number', LABEL.kid, 1],
    ['IV a text', LABEL.iv, 'iv'],
    ['x5chain an array of one', LABEL.x5chain, [certificate]],
    ['x5chain empty', LABEL.x5chain, []],
    ['x5chain of texts', LABEL.x5chain, ['a', 'b']],
    ['x5t with a third element', LABEL.x5t, [-16, new Uint8Array(32), 0]],
    ['x5t bare', LABEL.x5t, new Uint8Array(32)],
    ['x5u untagged', LABEL.x5u, 'https://hollinridge.example/'],
  ])('%s is refused', (_, label, value) => {
    expect(codeOf(sign1([[label, value]]))).toBe('header-malformed');
    expect(codeOf(sign1([], [[label, value]]))).toBe('header-malformed');
  });
  it('IV and partial IV in one layer are refused', () => {
    expect(codeOf(sign1([[LABEL.iv, fromHex('00')]], [[LABEL.partialIv, fromHex('00')]]))).toBe(
      'header-malformed',
    );
  });
});

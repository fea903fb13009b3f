import { describe, expect, test } from 'vitest';
import { type ByteSource, concat, fromHex, sourceOf } from '../../src/bytes/index.ts';
import { CborMap, CborTag, type CborValue, encode, encodeHead } from '../../src/cbor/index.ts';
import { diagnosticOfEnvelope, mapBytes, type Region } from '../../src/suit/index.ts';
import { EXAMPLE_0, EXAMPLE_3 } from './examples.ts';
import { rawEnvelope, rawManifest, sequence, wrapperOf } from './raw.ts';

const all = (regions: readonly Region[]): Region[] =>
  regions.flatMap((each) => [each, ...all(each.children ?? [])]);
const leaves = (regions: readonly Region[]): Region[] => all(regions).filter((each) => !each.children);
const map = (bytes: Uint8Array): Region[] => mapBytes(sourceOf(bytes));

function at(bytes: Uint8Array, path: string): Region {
  const found = all(map(bytes)).find((region) => region.path === `envelope/${path}`);
  if (!found) throw new Error(`nothing at ${path}`);
  return found;
}

describe('every byte of [M] Appendix B.1', () => {
  test('leaves follow one another from 0 to 237, and no two regions share a path', () => {
    let next = 0;
    for (const leaf of leaves(map(EXAMPLE_0))) {
      expect(leaf.offset).toBe(next);
      next += leaf.length;
    }
    expect(next).toBe(237);
    const paths = all(map(EXAMPLE_0)).map((region) => region.path);
    expect(new Set(paths).size).toBe(paths.length);
  });

  test('every leaf has a title and a clause', () => {
    for (const leaf of leaves(map(EXAMPLE_0))) expect([leaf.title, leaf.clause].every(Boolean)).toBe(true);
  });

  test.each([
    [
      'authentication-wrapper/digest',
      'SHA-256 6658ea560262696dd1f13b782239a064da7c6c5cbaf52fded428a6fc83c7e5af',
    ],
    ['authentication-wrapper/block-1', 'COSE_Sign1: one signature'],
    ['authentication-wrapper/block-1/protected/alg', '-7 (ES256)'],
    ['manifest/manifest-sequence-number', '0'],
    ['manifest/common/components/0', "h'00'"],
    [
      'manifest/common/shared-sequence/0-directive-override-parameters/parameter-vendor-identifier',
      'fa6b4a53-d5ad-5fdf-be9d-e663e4d41ffe',
    ],
    ['manifest/common/shared-sequence/0-directive-override-parameters/parameter-image-size', '34768'],
    ['manifest/common/shared-sequence/1-condition-vendor-identifier', '15 (report everything)'],
    ['manifest/invoke/0-directive-invoke', '2 (report: record on failure)'],
  ])('%s is %s', (path, value) => {
    expect(at(EXAMPLE_0, path).value).toBe(value);
  });

  test('RFC 8949 8 and RFC 8610 G.3: diagnostic notation, wrapped items expanded', () => {
    expect(at(EXAMPLE_0, 'manifest/validate').diagnostic).toBe('7: <<[3, 15]>>');
    expect(at(EXAMPLE_0, 'authentication-wrapper/block-1/protected').diagnostic).toBe('<<{1: -7}>>');
  });

  test('offsets are those of the file', () => {
    const region = at(EXAMPLE_0, 'manifest/invoke/0-directive-invoke');
    expect(EXAMPLE_0.subarray(region.offset, region.offset + region.length)).toEqual(fromHex('1702'));
  });
});

describe('payloads and certificates', () => {
  const manifest = rawManifest();
  const chain = new CborMap([
    [4, 'signer'],
    [33, [fromHex('3003020101'), fromHex('3003020102')]],
    [-70001, 3],
  ]);
  const block = concat(
    encodeHead(6, 18),
    encode([encode(new CborMap([[1, -9]])), chain, null, new Uint8Array(64)]),
  );
  const wrapper = encode([encode([-16, new Uint8Array(32)]), block]);

  test('RFC 9360 2: certificates are marked as DER; private headers are named as such', () => {
    const bytes = rawEnvelope([2, wrapper], [3, manifest]);
    const unprotected = 'authentication-wrapper/block-1/unprotected';
    expect(at(bytes, `${unprotected}/x5chain/certificate-1`).title).toBe('X.509 certificate (DER)');
    expect(at(bytes, `${unprotected}/-70001`).title).toContain('private header');
    expect(at(bytes, 'authentication-wrapper/block-1/protected/alg').value).toBe('-9 (ESP256)');
  });

  test('[M] 7.5: a large payload is located and not read', () => {
    const size = 2 ** 31;
    const front = concat(
      fromHex('d86ba3'),
      ...[encode(2), encode(wrapper), encode(3), encode(manifest), encode('#image'), encodeHead(2, size)],
    );
    const source: ByteSource = {
      size: front.length + size,
      read: (offset, length) => {
        if (length > 100_000) throw new Error(`read ${length} bytes at once`);
        const bytes = new Uint8Array(length);
        bytes.set(front.subarray(offset, Math.min(offset + length, front.length)));
        return bytes;
      },
    };
    const payload = all(mapBytes(source)).find((region) => region.path === 'envelope/#image/content')!;
    expect([payload.offset, payload.length]).toEqual([front.length, size]);
    expect(diagnosticOfEnvelope(source)).toContain('"#image": ... / 2147483648 bytes not shown /');
  });

  test('[M] 8.6: a severed element is a digest in the manifest and itself in the envelope', () => {
    const severed = rawManifest({ more: [[20, [-16, new Uint8Array(32).fill(0xab)]]] });
    const bytes = rawEnvelope([2, wrapper], [3, severed], [20, sequence(14, 0)]);
    expect(at(bytes, 'manifest/install').value).toBe(`SHA-256 ${'ab'.repeat(32)}`);
    expect(at(bytes, 'install/0-condition-abort').title).toBe('condition: abort');
  });
});

describe('every kind of part has its words', () => {
  const values = new CborMap([
    [1, new CborTag(112, fromHex('8a5b'))],
    [3, encode([-44, new Uint8Array(64)])],
    [12, false],
    [19, fromHex('00')],
    [21, '#image'],
    [28, encode([2, [1, 4, -1, 2]])],
    [-300, 1],
  ]);
  const component = [new TextEncoder().encode('main'), fromHex('00')];
  const manifest = rawManifest({
    components: [component],
    shared: [12, true, 12, [0]],
    more: [
      [4, 'https://depot.hollinridge.example/9'],
      [6, encode([1, 4, 0])],
      [20, sequence(20, values, 32, sequence(3, 0), 3, 9)],
      [
        23,
        encode(
          new CborMap([
            [
              'en',
              new CborMap([
                [1, 'Vent'],
                [component, new CborMap([[6, '1.4.0']])],
              ]),
            ],
          ]),
        ),
      ],
    ],
  });
  const headers = encode(
    new CborMap([
      [1, 5],
      [2, [4]],
      [34, [-16, fromHex('ab')]],
      [99, 0],
    ]),
  );
  const tagged = (tag: number, parts: CborValue[]): Uint8Array => encode(new CborTag(tag, parts));
  const signer = [fromHex(''), new CborMap([]), fromHex('01')];
  const wrapper = encode([
    encode([-16, new Uint8Array(32)]),
    tagged(17, [headers, new CborMap([]), null, fromHex('01')]),
    tagged(97, [headers, new CborMap([]), null, fromHex('01'), [signer]]),
    tagged(98, [headers, new CborMap([]), null, [signer], 0]),
    tagged(99, []),
  ]);
  const bytes = rawEnvelope([2, wrapper], [3, manifest]);
  const install = 'manifest/install/0-directive-override-parameters';

  test.each([
    ['manifest/common/components/0', "'main' / h'00'"],
    ['manifest/common/shared-sequence/0-directive-set-component-index', 'every component'],
    ['manifest/reference-uri', 'https://depot.hollinridge.example/9'],
    ['manifest/set-version', '1.4.0'],
    [`${install}/parameter-image-digest`, `SHA-512 ${'00'.repeat(64)}`],
    [`${install}/parameter-strict-order`, 'false'],
    [`${install}/parameter-version/operator`, '>='],
    [`${install}/parameter-version/version`, '1.4-rc.2'],
    ['manifest/install/1-directive-run-sequence/0-condition-image-match', '0 (report nothing)'],
    ['manifest/install/2-condition-image-match', '9 (report: record on success, system on failure)'],
    ['manifest/text/en/text-manifest-description', 'Vent'],
    ['manifest/text/en/component-6d61696e.00/text-component-version', '1.4.0'],
    ['authentication-wrapper/block-1', 'COSE_Mac0: MAC by a key both sides hold'],
    ['authentication-wrapper/block-1/protected/alg', '5 (HMAC 256/256)'],
    ['authentication-wrapper/block-1/protected/x5t/hash', 'ab'],
    ['authentication-wrapper/block-2/recipients/0/ciphertext', '01'],
    ['authentication-wrapper/block-3/signers/0/signature', '01'],
  ])('%s is %s', (path, value) => {
    expect(at(bytes, path).value).toBe(value);
  });

  test.each([
    [`${install}/parameter-encryption-info`, 'parameter: encryption info'],
    [`${install}/-300`, 'not defined'],
    ['authentication-wrapper/block-1/protected/99', 'not defined'],
    ['authentication-wrapper/block-3/4', 'beyond the structure'],
    ['authentication-wrapper/block-4/head', 'array of 0'],
  ])('%s says %s', (path, words) => {
    expect(at(bytes, path).title).toContain(words);
  });
});

describe('damaged and foreign files', () => {
  const manifest = rawManifest();
  const problems = (bytes: Uint8Array): string[] => all(map(bytes)).flatMap((each) => each.problem ?? []);

  test('a file cut inside the manifest: what stands before is explained, heads inside as far as they go', () => {
    const cut = EXAMPLE_3.subarray(0, 200);
    expect(at(cut, 'authentication-wrapper/digest').value).toContain('SHA-256');
    expect(leaves(map(cut)).filter((leaf) => leaf.offset > 124).length).toBeGreaterThan(10);
    expect(problems(cut).join()).toContain('cut short');
  });

  test('a file cut between elements says so', () => {
    expect(problems(EXAMPLE_3.subarray(0, 121)).join()).toContain('end before');
  });

  test('bytes after the envelope', () => {
    const region = map(concat(EXAMPLE_0, fromHex('ffff'))).at(-1)!;
    expect(region).toMatchObject({ offset: 237, length: 2, title: 'not understood' });
    expect(region.problem).toContain('after the envelope');
  });

  test('an element that is no CBOR: head, then the reason', () => {
    const bytes = rawEnvelope([2, wrapperOf(manifest)], [3, fromHex('a201ff')]);
    expect(at(bytes, 'manifest').problem).toContain('CBOR refused');
    expect(leaves(map(bytes)).at(-1)).toMatchObject({ title: 'not understood', length: 1 });
  });

  test('unknown commands, parameters and elements are shown as unknown', () => {
    const bytes = rawEnvelope([2, wrapperOf(manifest)], [3, rawManifest({ more: [[20, sequence(99, 0)]] })]);
    expect(at(bytes, 'manifest/install/0-99').title).toContain('not defined');
    const named = rawEnvelope([2, wrapperOf(manifest)], [3, rawManifest({ more: [[20, sequence(31, 0)]] })]);
    expect(at(named, 'manifest/install/0-directive-swap').title).toContain('not run here');
  });

  test('section 11: a manifest alone is explained as such', () => {
    const regions = map(concat(encodeHead(6, 1070), manifest));
    expect(regions[0]!.problem).toContain('without an envelope');
    expect(all(regions).some((region) => region.path === 'manifest/manifest-version')).toBe(true);
  });

  test('other CBOR, and what is no CBOR', () => {
    expect(map(encode([1, 'two']))[0]).toMatchObject({ title: 'CBOR, but no SUIT envelope', length: 6 });
    const picture = fromHex('89504e470d0a1a0a0000000d');
    expect(map(picture)).toMatchObject([{ title: 'not understood', offset: 0, length: picture.length }]);
    expect(map(new Uint8Array(0))).toEqual([]);
  });
});

describe('RFC 8949 8, RFC 8610 G: an envelope in diagnostic notation', () => {
  test('names as comments, wrapped items expanded, the tag outside', () => {
    const text = diagnosticOfEnvelope(sourceOf(EXAMPLE_0));
    expect(text.startsWith('107({\n')).toBe(true);
    expect(text).toContain('/ manifest-sequence-number / 2: 0');
    expect(text).toContain('/ validate / 7: <<[/ condition-image-match / 3, 15]>>');
    expect(text).toContain('/ alg / 1: -7');
  });

  test('nothing in a file can end a comment or reach the terminal as a control character', () => {
    const key = '#a/ \u001b[31m\u009b\u202e';
    const text = diagnosticOfEnvelope(
      sourceOf(rawEnvelope([2, wrapperOf(rawManifest())], [3, rawManifest()], [key, fromHex('00')])),
    );
    for (const character of ['\u001b', '\u009b', '\u202e']) expect(text).not.toContain(character);
  });

  test('what is not understood stands as a comment with its reason', () => {
    expect(diagnosticOfEnvelope(sourceOf(EXAMPLE_0.subarray(0, 150)))).toMatch(
      /29 bytes not understood: .*cut short/,
    );
  });
});

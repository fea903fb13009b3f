import { describe, expect, test } from 'vitest';
import { fromHex, fromUtf8, sourceOf } from '../../src/bytes/index.ts';
import { CborMap, CborTag, type CborValue, encode } from '../../src/cbor/index.ts';
import {
  COMMANDS,
  digestOf,
  MANIFEST_KEYS,
  type ManifestOptions,
  openEnvelope,
  PARAMETERS,
  parseUuid,
  readManifest,
  readText,
  SUIT_LIMITS,
  SuitError,
  type SuitErrorCode,
} from '../../src/suit/index.ts';
import { EXAMPLE_0, EXAMPLE_3 } from './examples.ts';
import { DIGEST, rawManifest, rawMap, sequence, UUID, withInstall } from './raw.ts';

function refusalOf(content: Uint8Array, options?: ManifestOptions): SuitError {
  try {
    readManifest(content, options);
  } catch (error) {
    if (error instanceof SuitError) return error;
    throw error;
  }
  throw new Error('the manifest was accepted');
}

const TWO = [[fromUtf8('main')], [fromUtf8('staging')]];
const map = (...entries: [CborValue, CborValue][]): CborMap => new CborMap(entries);
const override = (...entries: [CborValue, CborValue][]): Uint8Array => withInstall(20, map(...entries));
/** Sequences inside sequences, `depth` of them. */
function nested(depth: number): CborValue {
  return depth === 0 ? sequence(14, 0) : sequence(32, nested(depth - 1));
}

describe('[M] Appendix B: the manifests of the published examples', () => {
  test('B.1: identifiers, digest, size, and the place of each command', () => {
    const envelope = openEnvelope(sourceOf(EXAMPLE_0));
    const manifest = readManifest(envelope.manifest, { base: envelope.manifestStart });
    expect(manifest.sequenceNumber).toBe(0n);
    expect(manifest.components).toEqual([[fromHex('00')]]);
    const [first, ...conditions] = manifest.shared!.commands;
    const values = first!.argument.type === 'parameters' ? first!.argument.values : undefined;
    expect(values!.get(1)).toEqual(parseUuid('fa6b4a53-d5ad-5fdf-be9d-e663e4d41ffe'));
    expect(values!.get(2)).toEqual(parseUuid('1492af14-2569-5e48-bf42-9b2d51f2ab45'));
    expect(values!.get(3)!.algorithm).toBe(-16);
    expect(values!.get(14)).toBe(34768);
    for (const command of conditions) expect(EXAMPLE_0[command.offset]).toBe(command.row.code);
  });

  test('B.4: both branches of the A/B template', () => {
    const envelope = openEnvelope(sourceOf(EXAMPLE_3));
    const { shared } = readManifest(envelope.manifest);
    const branches = shared!.commands[1]!.argument;
    expect(branches.type === 'branches' && branches.branches.map((branch) => branch.commands.length)).toEqual(
      [3, 3],
    );
    expect(branches.type === 'branches' && branches.mayFail).toBe(false);
  });
});

const REFUSED: readonly [string, SuitErrorCode, Uint8Array][] = [
  ['8.4: no map', 'element-type', encode([1])],
  ['8.4: a tag around it', 'element-type', encode(new CborTag(1070, map([1, 1])))],
  ['8.4.1: no version', 'element-missing', encode(map([2, 1]))],
  ['6.1: version 2', 'manifest-version', rawManifest({ version: 2 })],
  ['6.1: version 0', 'manifest-version', rawManifest({ version: 0 })],
  ['6.1: version "1"', 'manifest-version', rawManifest({ version: '1' })],
  ['8.4.2: no sequence number', 'element-missing', encode(map([1, 1], [3, encode(map([2, TWO]))]))],
  ['8.4.2: a negative sequence number', 'element-type', rawManifest({ number: -1 })],
  [
    '8.4.2: a sequence number of 65 bits',
    'element-type',
    rawManifest({ number: new CborTag(2, fromHex('010000000000000000')) }),
  ],
  ['8.4.5: no common', 'element-missing', encode(map([1, 1], [2, 1]))],
  ['8.4.5: common not wrapped', 'element-type', rawManifest({ common: map([2, TWO]) })],
  ['8.4.5: no components', 'components', rawManifest({ common: encode(map()) })],
  ['8.4.5: an empty list of components', 'components', rawManifest({ components: [] })],
  ['8.4.5.1: a component that is no array', 'components', rawManifest({ components: [fromHex('00')] })],
  ['8.4.5.1: a segment that is a text', 'components', rawManifest({ components: [['main']] })],
  [
    '[TD] 5.2: dependencies',
    'element-unsupported',
    rawManifest({ common: encode(map([1, map()], [2, TWO])) }),
  ],
  [
    '11.3: an unknown element of common',
    'element-unknown',
    rawManifest({ common: encode(map([2, TWO], [3, 0])) }),
  ],
  ['11.2: an unknown element', 'element-unknown', rawManifest({ more: [[10, 1]] })],
  ['11.2: a negative element', 'element-unknown', rawManifest({ more: [[-1, 1]] })],
  ['8.1: elements out of order', 'element-order', encode(rawMap([2, 1], [1, 1]))],
  ['RFC 8949 5.6: an element twice', 'element-duplicate', encode(rawMap([1, 1], [1, 1]))],
  ['8.4.6: a sequence not wrapped', 'element-type', rawManifest({ more: [[7, 14]] })],
  ['8.4: validate is not severable', 'element-type', rawManifest({ more: [[7, DIGEST]] })],
  ['8.4.6: an empty sequence', 'sequence', withInstall()],
  ['8.4.6: a code without argument', 'sequence', withInstall(14)],
  ['8.4.6: a sequence that is a map', 'sequence', rawManifest({ more: [[20, encode(map([14, 0]))]] })],
  ['6.1: an unknown command', 'command-unknown', withInstall(13, 0)],
  [
    '6.1: an unknown command far inside',
    'command-unknown',
    withInstall(15, [sequence(14, 0), sequence(32, sequence(9, 0))]),
  ],
  ['11.4: an unassigned negative command', 'command-unknown', withInstall(-256, 0)],
  ['8.4.11: a custom command nobody here defines', 'command-unknown', withInstall(-257, 0)],
  ['8.4.6: a command code that is a text', 'command-unknown', withInstall('3', 0)],
  ['[UM] section 5: wait', 'command-unsupported', withInstall(29, 0)],
  ['[TD] 5.6.1: set-parameters', 'command-unsupported', withInstall(19, map([21, '#a']))],
  ['8.4.10.9: swap', 'command-unsupported', withInstall(31, 0)],
  ['6.2: a custom command in shared', 'shared-sequence', rawManifest({ shared: [-300, 0] })],
  ['Appendix A: fetch in shared', 'shared-sequence', rawManifest({ shared: [21, 0] })],
  [
    'Appendix A: copy inside a try-each in shared',
    'shared-sequence',
    rawManifest({ shared: [15, [sequence(14, 0), sequence(22, 0)]] }),
  ],
  ['Appendix A: wait in shared', 'shared-sequence', rawManifest({ shared: [29, 0] })],
  ['8.4.7: a policy of five bits', 'command-argument', withInstall(3, 16)],
  ['8.4.7: a policy that is nil', 'command-argument', withInstall(3, null)],
  ['8.4.7: a negative policy', 'command-argument', withInstall(3, -1)],
  ['8.4.10.1: index false', 'command-argument', withInstall(12, false)],
  ['8.4.10.1: an empty list of indices', 'command-argument', withInstall(12, [])],
  ['8.4.10.1: an index beyond the list', 'component-index', withInstall(12, 1)],
  ['8.4.10.1: an index beyond the list, in a list', 'component-index', withInstall(12, [0, 7])],
  ['8.4.10.2: try-each of one branch', 'command-argument', withInstall(15, [sequence(14, 0)])],
  ['8.4.10.2: try-each of one branch and nil', 'command-argument', withInstall(15, [sequence(14, 0), null])],
  [
    '8.4.10.2: nil before the end',
    'command-argument',
    withInstall(15, [null, sequence(14, 0), sequence(14, 0)]),
  ],
  ['8.4.10.2: a branch not wrapped', 'command-argument', withInstall(15, [sequence(14, 0), [14, 0]])],
  ['8.4.10.2: an empty branch', 'sequence', withInstall(15, [sequence(14, 0), sequence()])],
  ['8.4.10.8: run-sequence not wrapped', 'command-argument', withInstall(32, [14, 0])],
  ['8.4.10.3: no parameters', 'command-argument', override()],
  ['8.4.10.3: parameters that are no map', 'command-argument', withInstall(20, [21, '#a'])],
  ['6.1: an unknown parameter', 'parameter-unknown', override([17, 0])],
  ['8.4.8.16: a custom parameter', 'parameter-unknown', override([-300, 0])],
  ['8.4.8.16: our own, without the extension', 'parameter-unsupported', override([-257, 0])],
  [
    '8.4.8.16: a custom parameter in shared',
    'shared-sequence',
    rawManifest({ shared: [20, map([-300, 0])] }),
  ],
  ['[FE] 4: encryption info', 'parameter-unsupported', override([19, fromHex('00')])],
  ['8.4.8.13: fetch arguments', 'parameter-unsupported', override([25, fromHex('00')])],
  ['8.4.8.3: a vendor of 15 bytes', 'parameter-type', override([1, new Uint8Array(15)])],
  ['8.4.8.3: a vendor under another tag', 'parameter-type', override([1, new CborTag(111, UUID)])],
  ['8.4.8.4: a class that is a text', 'parameter-type', override([2, 'vent'])],
  ['8.4.8.6: a digest not wrapped', 'parameter-type', override([3, DIGEST])],
  ['8.4.8.6: a digest cut short', 'truncated', override([3, encode(DIGEST).subarray(0, 30)])],
  [
    'section 10: an image digest not computed here',
    'digest-algorithm',
    override([3, encode([-44, new Uint8Array(64)])]),
  ],
  ['8.4.8.7: a negative size', 'parameter-type', override([14, -1])],
  ['8.4.8.7: a size of 64 bits', 'parameter-type', override([14, 2n ** 63n])],
  ['8.4.8.10: a URI under tag 32', 'parameter-type', override([21, new CborTag(32, '#a')])],
  ['8.4.8.11: a source beyond the list', 'component-index', override([22, 1])],
  ['8.4.8.14: strict order 1', 'parameter-type', override([12, 1])],
  ['8.4.8: the same parameter twice', 'element-duplicate', withInstall(20, rawMap([21, '#a'], [21, '#b']))],
  ['[UM] 4.4: an operator nobody defined', 'version', override([28, encode([6, [1]])])],
  ['[UM] 4.4.1: an empty version', 'version', override([28, encode([1, []])])],
  ['[UM] 4.4.1: a pre-release first', 'version', override([28, encode([1, [-1, 1]])])],
  ['[UM] 3.1: set-version with an operator', 'version', rawManifest({ more: [[6, encode([1, [1, 0]])]] })],
  [
    'limit: components',
    'components',
    rawManifest({ components: Array.from({ length: 65 }, (_, i) => [Uint8Array.of(i)]) }),
  ],
  [
    'limit: segments',
    'limit',
    rawManifest({ components: [Array.from({ length: 17 }, () => fromHex('00'))] }),
  ],
  ['limit: nested sequences', 'limit', withInstall(32, nested(SUIT_LIMITS.sequenceDepth))],
  [
    'limit: commands',
    'limit',
    withInstall(...Array.from({ length: SUIT_LIMITS.commands + 1 }, () => [14, 0]).flat()),
  ],
  ['limit: content', 'limit', override([18, new Uint8Array(SUIT_LIMITS.contentSize + 1)])],
  [
    'limit: nested arrays',
    'limit',
    encode(Array.from({ length: 30 }).reduce<CborValue>((inner) => [inner], 0)),
  ],
];

describe('[M] 6.1, 6.2, 8.4 and Appendix A: what is refused before anything runs', () => {
  test.each(REFUSED)('%s: %s', (_name, code, content) => {
    expect(refusalOf(content).code).toBe(code);
  });

  test('6.2: with more than one component each sequence begins with set-component-index', () => {
    const install: [CborValue, CborValue] = [20, sequence(3, 15)];
    expect(refusalOf(rawManifest({ components: TWO, more: [install] })).code).toBe('component-index-missing');
    expect(refusalOf(rawManifest({ components: TWO, shared: [14, 0] })).code).toBe('component-index-missing');
    const said = rawManifest({
      components: TWO,
      shared: [12, true, 14, 0],
      more: [[20, sequence(12, [0, 1], 3, 15)]],
    });
    expect(readManifest(said).components).toHaveLength(2);
  });

  test('offsets count from the base given', () => {
    const content = withInstall(13, 0);
    expect(refusalOf(content, { base: 1_000 }).offset).toBe(1_000 + content.length - 2);
  });
});

describe('what the drafts define and this processor does not run is refused by its name', () => {
  const namedCommands = [...COMMANDS.values()].filter((row) => row.support === 'named');
  const namedParameters = [...PARAMETERS.values()].filter((row) => row.support === 'named');
  const namedElements = [...MANIFEST_KEYS.values()].filter((row) => row.support === 'named');

  test.each(namedCommands)('command $code, $name', (row) => {
    const error = refusalOf(withInstall(row.code, 0));
    expect(error.code).toBe('command-unsupported');
    expect(error.message).toContain(row.name);
  });

  test.each(namedParameters)('parameter $code, $name', (row) => {
    const error = refusalOf(override([row.code, 0]));
    expect(error.code).toBe('parameter-unsupported');
    expect(error.message).toContain(row.name);
  });

  test.each(namedElements)('element $code, $name', (row) => {
    const error = refusalOf(encode(map([1, 1], [2, 1], [3, encode(map([2, TWO]))], [row.code, 0])));
    expect(error.code).toBe('element-unsupported');
    expect(error.message).toContain(row.name);
  });
});

describe('what is taken', () => {
  test('8.4.8: every parameter that runs, of its type', () => {
    const manifest = readManifest(
      override(
        [1, new CborTag(112, fromHex('8a5b'))],
        [2, UUID],
        [3, encode(DIGEST)],
        [4, 2n ** 63n],
        [5, 1],
        [12, false],
        [14, Number.MAX_SAFE_INTEGER],
        [18, fromHex('0102')],
        [21, '#image'],
        [22, 0],
        [23, fromHex('')],
        [24, UUID],
        [26, 1_500],
        [27, -5],
        [28, encode([2, [1, 4, -1, 2]])],
      ),
    );
    const install = manifest.sequences.get('install')!;
    const argument = install.state === 'in-place' ? install.value.commands[0]!.argument : undefined;
    if (argument?.type !== 'parameters') throw new Error('no parameters');
    const { values } = argument;
    expect(values.get(1)).toEqual({ pen: fromHex('8a5b') });
    expect(values.get(4)).toBe(2n ** 63n);
    expect(values.get(12)).toBe(false);
    expect(values.get(14)).toBe(Number.MAX_SAFE_INTEGER);
    expect(values.get(27)).toBe(-5);
    expect(values.get(28)).toEqual({ comparison: '>=', version: [1, 4, -1, 2] });
    expect([...values.keys()]).toEqual([1, 2, 3, 4, 5, 12, 14, 18, 21, 22, 23, 24, 26, 27, 28]);
  });

  test('8.4.10.2: nil after two branches', () => {
    const install = readManifest(withInstall(15, [sequence(14, 0), sequence(14, 0), null])).sequences.get(
      'install',
    )!;
    const argument = install.state === 'in-place' ? install.value.commands[0]!.argument : undefined;
    expect(argument).toMatchObject({ type: 'branches', mayFail: true });
  });

  test('8.4.2: a sequence number of 64 bits', () => {
    expect(readManifest(rawManifest({ number: 2n ** 64n - 1n })).sequenceNumber).toBe(2n ** 64n - 1n);
  });

  test('nesting up to the limit', () => {
    expect(() => readManifest(withInstall(32, nested(SUIT_LIMITS.sequenceDepth - 1)))).not.toThrow();
  });

  test('8.4.3, [UM] 3.1, [UM] 3.2: reference URI, version, software identity', () => {
    const more: [CborValue, CborValue][] = [
      [4, 'https://depot.hollinridge.example/7'],
      [6, encode([1, 4, 0])],
      [14, fromHex('a0')],
    ];
    const manifest = readManifest(rawManifest({ more }));
    expect(manifest.referenceUri).toBe('https://depot.hollinridge.example/7');
    expect(manifest.setVersion).toEqual([1, 4, 0]);
    expect(manifest.coswid).toMatchObject({ state: 'in-place', value: { content: fromHex('a0') } });
  });
});

describe('[M] 8.4.12 and 6.2: severed elements are authenticated before they are read', () => {
  const content = sequence(13, 0);
  const part = (bytes: Uint8Array) => {
    const bstr = encode(bytes);
    const start = bstr.length - bytes.length;
    return new Map([
      [20, { bstr, content: bytes, contentStart: start, span: { start: 0, end: bstr.length } }],
    ]);
  };
  const severedInstall = (bytes: Uint8Array): Uint8Array => {
    const digest = digestOf(encode(bytes));
    return rawManifest({ more: [[20, [digest.algorithm, digest.bytes]]] });
  };

  test('one that matches is read to its last command', () => {
    expect(refusalOf(severedInstall(content), { severed: part(content) }).code).toBe('command-unknown');
    const sound = sequence(14, 0);
    const manifest = readManifest(severedInstall(sound), { severed: part(sound) });
    expect(manifest.sequences.get('install')!.state).toBe('attached');
  });

  test('one that does not match is not read: not even its unknown command is met', () => {
    const manifest = readManifest(severedInstall(sequence(14, 0)), { severed: part(content) });
    expect(manifest.sequences.get('install')!.state).toBe('altered');
  });

  test('one that the manifest gives no digest for is refused', () => {
    expect(refusalOf(rawManifest(), { severed: part(content) }).code).toBe('severed-unexpected');
    expect(refusalOf(withInstall(14, 0), { severed: part(content) }).code).toBe('severed-unexpected');
  });
});

describe('[M] 8.4.4: text', () => {
  const text = (value: CborValue): Uint8Array => encode(value);

  test('is not looked into by a processor', () => {
    const manifest = readManifest(rawManifest({ more: [[23, fromHex('ff')]] }));
    expect(manifest.text).toMatchObject({ state: 'in-place', value: { content: fromHex('ff') } });
  });

  test('is read for people, texts of unknown codes included', () => {
    const component = [fromUtf8('main')];
    const said = readText(
      text(
        map([
          'en-GB',
          map([1, 'Vent controller'], [-5, 'note'], [component, map([3, 'hollinridge.example'])]),
        ]),
      ),
    );
    const english = said.get('en-GB')!;
    expect([...english.manifest]).toEqual([
      [1, 'Vent controller'],
      [-5, 'note'],
    ]);
    expect(english.components).toEqual([
      { identifier: component, texts: new Map([[3, 'hollinridge.example']]) },
    ]);
  });

  test.each([
    ['a language tag with a blank', map(['en GB', map([1, 'x'])])],
    ['a language tag that is a number', map([1, map([1, 'x'])])],
    ['a text that is a number', map(['en', map([1, 1])])],
    ['a component text that is no map', map(['en', map([[fromUtf8('main')], 'x'])])],
    ['no map', [1]],
  ])('refuses %s', (_name, value) => {
    expect(() => readText(text(value))).toThrow(expect.objectContaining({ name: 'SuitError', code: 'text' }));
  });
});

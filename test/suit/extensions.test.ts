/** Extensions are read where the processor supports them, and refused by name where it does not. */
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { fromHex, fromUtf8, sourceOf, toHex } from '../../src/bytes/index.ts';
import { CborMap, CborTag, type CborValue, encode } from '../../src/cbor/index.ts';
import {
  type CommandDescription,
  command,
  override,
  type SequenceDescription,
  setIndex,
} from '../../src/suit/description.ts';
import {
  ALL_EXTENSIONS,
  type ComponentMetadata,
  diagnosticOfEnvelope,
  EXTENSIONS,
  type Extension,
  type Manifest,
  type ManifestDescription,
  mapBytes,
  openEnvelope,
  type Parameters,
  type ParameterTypes,
  type Region,
  readManifest,
  runSequences,
  type SectionName,
  SUIT_LIMITS,
  SuitError,
  type WaitInfo,
  writeManifest,
} from '../../src/suit/index.ts';
import { FE_COPY, FE_DEPENDENCY, TD_DEPENDENCY, TD_INTEGRATED, TD_PROCESS } from './extension-examples.ts';
import { DIGEST, rawEnvelope, rawManifest, sequence, withInstall, wrapperOf } from './raw.ts';

const map = (...entries: [CborValue, CborValue][]): CborMap => new CborMap(entries);
const withAll = (bytes: Uint8Array): Manifest => readManifest(bytes, { extensions: ALL_EXTENSIONS });
const withOnly = (bytes: Uint8Array, ...extensions: Extension[]): Manifest =>
  readManifest(bytes, { extensions: new Set(extensions) });
const settingRaw = (code: number, value: CborValue): Uint8Array => withInstall(20, map([code, value]));

function refusal(read: () => unknown): SuitError {
  try {
    read();
  } catch (error) {
    if (error instanceof SuitError) return error;
    throw error;
  }
  return expect.unreachable('read');
}

/** Parameters of the first command of install. */
function set(manifest: Manifest): Parameters {
  const install = manifest.sequences.get('install');
  const argument = install && 'value' in install ? install.value.commands[0]!.argument : undefined;
  if (argument?.type !== 'parameters') return expect.unreachable('parameters');
  return argument.values;
}

function describing(more: Partial<ManifestDescription>): ManifestDescription {
  return {
    sequenceNumber: 1,
    components: [[fromUtf8('a')], [fromUtf8('b')], [fromUtf8('c')]],
    shared: [],
    sequences: new Map(),
    sever: [],
    ...more,
  };
}
const installing = (...install: SequenceDescription): Partial<ManifestDescription> => ({
  sequences: new Map([['install', [setIndex(0), ...install]]]),
});
const written = (more: Partial<ManifestDescription>): Manifest =>
  withAll(writeManifest(describing(more)).manifest);

/** The smallest encryption info: one recipient, nothing said of algorithms. */
const INFO = fromHex('d8608440a0f6818340a0f6');

const EVERYTHING: readonly [Extension, string, Uint8Array][] = [
  ['dependencies', 'process-dependency', withInstall(11, 0)],
  ['dependencies', 'dependency-integrity', withInstall(7, 0)],
  ['dependencies', 'is-dependency', withInstall(8, 0)],
  ['dependencies', 'manifest-component-id', rawManifest({ more: [[5, [fromUtf8('x')]]] })],
  ['dependencies', 'dependency-resolution', rawManifest({ more: [[15, sequence(14, 0)]] })],
  ['dependencies', 'candidate-verification', rawManifest({ more: [[18, sequence(14, 0)]] })],
  ['dependencies', 'uninstall', rawManifest({ more: [[24, sequence(14, 0)]] })],
  ['dependencies', 'dependencies', rawManifest({ common: encode(map([1, map([0, map()])])) })],
  ['set-parameters', 'set-parameters', withInstall(19, map([21, '#a']))],
  ['encryption', 'encryption-info', settingRaw(19, INFO)],
  ['wait', 'wait', withInstall(29, 0)],
  ['wait', 'wait-info', settingRaw(29, encode(map([5, 1])))],
  ['parameter-lists', 'override-multiple', withInstall(34, map([0, map([21, '#a'])]))],
  ['parameter-lists', 'copy-params', withInstall(35, map([0, [21]]))],
  ['component-metadata', 'component-metadata', settingRaw(30, encode(map([5, 1])))],
  ['fetch-arguments', 'fetch-arguments', settingRaw(25, fromHex('00'))],
];

describe('[TD] 5.1, [UM] 5: what a processor does not support it refuses by name', () => {
  test.each(EVERYTHING)('%s: %s', (extension, name, bytes) => {
    const others = EXTENSIONS.filter((each) => each !== extension);
    for (const read of [() => readManifest(bytes), () => withOnly(bytes, ...others)]) {
      expect(refusal(read).code).toMatch(/^(element|command|parameter)-unsupported$/);
      expect(refusal(read).message).toContain(name);
    }
    expect(withOnly(bytes, extension).version).toBe(1);
  });

  test.each([
    ['[M] 8.4.10.9 swap', withInstall(31, 0)],
    ['[TD] 5.6.5 unlink', withInstall(33, 0)],
    ['[UM] 4.5 wait for a local time of day', settingRaw(29, encode(map([6, 1])))],
    ['[UM] 4.5 wait for a local day of the week', settingRaw(29, encode(map([7, 1])))],
  ])('%s: refused whatever is supported', (_name, bytes) => {
    expect(refusal(() => withAll(bytes)).code).toMatch(/^(command|parameter)-unsupported$/);
  });

  test('8.4.11: custom and unassigned codes stay unknown', () => {
    for (const bytes of [withInstall(-300, 0), withInstall(99, 0), settingRaw(99, 0), settingRaw(-300, 0)]) {
      expect(refusal(() => withAll(bytes)).code).toMatch(/^(command|parameter)-unknown$/);
    }
  });

  test('the envelope: a severed dependency-resolution is taken only with dependencies', () => {
    const content = sequence(14, 0);
    const manifest = rawManifest({ more: [[15, DIGEST]] });
    const envelope = rawEnvelope([2, wrapperOf(manifest)], [3, manifest], [15, content]);
    expect(refusal(() => openEnvelope(sourceOf(envelope))).code).toBe('element-unsupported');
    const opened = openEnvelope(sourceOf(envelope), SUIT_LIMITS, ALL_EXTENSIONS);
    const { severed } = opened;
    const read = readManifest(opened.manifest, { severed, extensions: ALL_EXTENSIONS });
    expect(read.sequences.get('dependency-resolution')).toMatchObject({ state: 'altered' });
  });

  test('[TD] Appendix A: candidate-verification in the envelope has no digest in the manifest: refused', () => {
    const manifest = rawManifest({ more: [[18, sequence(14, 0)]] });
    const envelope = rawEnvelope([2, wrapperOf(manifest)], [3, manifest], [18, sequence(14, 0)]);
    const { severed } = openEnvelope(sourceOf(envelope), SUIT_LIMITS, ALL_EXTENSIONS);
    expect(refusal(() => readManifest(manifest, { severed, extensions: ALL_EXTENSIONS })).code).toBe(
      'severed-unexpected',
    );
    expect(refusal(() => withAll(rawManifest({ more: [[18, DIGEST]] }))).code).toBe('element-type');
  });
});

describe('[TD] 5.2.2: the map of dependencies', () => {
  const common = (dependencies: CborValue, components?: CborValue): Uint8Array =>
    rawManifest({
      common: encode(
        map([1, dependencies], ...(components ? ([[2, components]] as [number, CborValue][]) : [])),
      ),
    });
  const A = [fromUtf8('a')];
  const B = [fromUtf8('b')];

  test('indices inside the list, after it, and without any list', () => {
    expect([...withAll(common(map([1, map()]), [A, B])).dependencies]).toEqual([[1, { prefix: undefined }]]);
    expect(withAll(common(map([1, map([1, B])]), [A])).targets).toHaveLength(2);
    expect(withAll(common(map([0, map([1, A])]))).components).toEqual([]);
  });

  test.each<[string, string, Uint8Array]>([
    ['empty', 'components', common(map(), [A])],
    ['no map', 'components', common([1], [A])],
    ['a gap after the list', 'component-index', common(map([2, map()]), [A])],
    ['an index that is no number', 'component-index', common(map(['a', map()]), [A])],
    ['metadata that nobody defined', 'element-unknown', common(map([1, map([2, A])]), [A])],
    ['a prefix that is no identifier', 'components', common(map([1, map([1, 'a'])]), [A])],
    ['metadata null', 'components', common(map([1, null]), [A])],
  ])('%s: refused', (_name, code, bytes) => {
    expect(refusal(() => withAll(bytes)).code).toBe(code);
  });

  test('more components and dependencies than the limit', () => {
    const many = Array.from({ length: SUIT_LIMITS.components }, (_, i): [number, CborMap] => [i + 1, map()]);
    expect(refusal(() => withAll(common(map(...many), [A]))).code).toBe('limit');
  });

  test('5.1: with a dependency each sequence begins with set-component-index', () => {
    const bytes = rawManifest({
      common: encode(map([1, map([1, map()])], [2, [A]])),
      more: [[20, sequence(23, 0)]],
    });
    expect(refusal(() => withAll(bytes)).code).toBe('component-index-missing');
  });

  test('[M] 7 and [TD] 8.1: a digest by set-parameters only in a manifest with dependencies, shared or not', () => {
    const digest = map([3, encode(DIGEST)]);
    expect(refusal(() => withAll(withInstall(19, digest))).code).toBe('command-argument');
    const template = encode(map([1, map([1, map()])], [2, [A]], [4, sequence(12, 1, 19, digest)]));
    expect(withAll(rawManifest({ common: template })).shared!.commands).toHaveLength(2);
    expect(withAll(withInstall(19, map([21, '#a'])))).toBeDefined();
  });
});

describe('[UM] 4.5: wait info', () => {
  const wait = (value: CborValue): Uint8Array => settingRaw(29, encode(value));
  const comparison: CborValue = [2, [1, 4]];

  test('all events of a unit without local time', () => {
    const info: WaitInfo = {
      1: -3,
      2: 1,
      3: 2,
      4: { device: fromHex('0102'), versions: [{ comparison: '>=', version: [1, 4] }] },
      5: 4_000_000_000n,
      8: 86_399,
      9: 6,
    };
    expect(
      set({ ...written(installing(override({ 29: info }))), ...firstIsIndex(override({ 29: info })) }).get(
        29,
      ),
    ).toEqual(info);
    const raw = map(
      [1, -3],
      [2, 1],
      [3, 2],
      [4, [fromHex('0102'), [comparison]]],
      [5, 4_000_000_000],
      [8, 86_399],
      [9, 6],
    );
    expect(set(withAll(wait(raw))).get(29)).toEqual(info);
  });

  test.each<[string, string, Uint8Array]>([
    ['no event', 'parameter-type', wait(map())],
    ['no map', 'parameter-type', wait([1])],
    ['an unknown event', 'parameter-unknown', wait(map([10, 1]))],
    ['a time before 1970', 'parameter-type', wait(map([5, -1]))],
    ['second 86400 of a day', 'parameter-type', wait(map([8, 86_400]))],
    ['day 7 of a week', 'parameter-type', wait(map([9, 7]))],
    ['another device without versions', 'parameter-type', wait(map([4, [fromHex('01'), []]]))],
    ['not wrapped', 'parameter-type', settingRaw(29, map([5, 1]))],
  ])('%s: refused', (_name, code, bytes) => {
    expect(refusal(() => withAll(bytes)).code).toBe(code);
  });

  test('5.6: the host is asked to wait with what the manifest waits for; without it the directive fails', () => {
    const asked: unknown[] = [];
    const host = {
      condition: () => ({ ok: true }) as const,
      directive: (code: number, _component: unknown, parameters: Parameters) => {
        asked.push([code, parameters.get(29)]);
        return { ok: true } as const;
      },
    };
    const manifest = written(installing(override({ 29: { 5: 7n } }), command(29, 0)));
    expect(runSequences(manifest, 'install', host)).toEqual({ ok: true });
    expect(asked).toEqual([[29, { 5: 7n }]]);
    expect(runSequences(written(installing(command(29, 0))), 'install', host)).toMatchObject({
      reason: 'parameter-missing',
    });
  });
});

/** The manifest with only this command in its install sequence, so that it is the first. */
function firstIsIndex(only: CommandDescription): Pick<Manifest, 'sequences'> {
  const description = describing({
    components: [[fromUtf8('a')]],
    sequences: new Map<SectionName, SequenceDescription>([['install', [only]]]),
  });
  return { sequences: withAll(writeManifest(description).manifest).sequences };
}
const roundTrip = (values: Partial<ParameterTypes>): Parameters =>
  set({ ...written({}), ...firstIsIndex(override(values)) });

describe('[UM] 4.6: component metadata', () => {
  const metadata: ComponentMetadata = {
    defaultPermissions: 0o77,
    userPermissions: [{ actor: 'operator', permissions: 16383 }],
    groupPermissions: [{ actor: -5, permissions: 0 }],
    rolePermissions: [{ actor: { uuid: new Uint8Array(16) }, permissions: 1 }],
    fileType: 'symlink',
    modificationTime: 1_700_000_000n,
    creationTime: 0n,
    creator: fromHex('0102'),
  };
  const raw = (...entries: [CborValue, CborValue][]): Uint8Array => settingRaw(30, encode(map(...entries)));

  test('is written and read', () => {
    expect(roundTrip({ 30: metadata }).get(30)).toEqual(metadata);
    expect(set(withAll(raw([5, 2]))).get(30)).toEqual({ fileType: 'directory' });
  });

  test.each<[string, string, Uint8Array]>([
    ['bit 14 of permissions', 'parameter-type', raw([1, 16384])],
    ['an empty map of permissions', 'parameter-type', raw([2, map()])],
    ['file type 4', 'parameter-type', raw([5, 4])],
    ['file type 0', 'parameter-type', raw([5, 0])],
    ['a time without its tag', 'parameter-type', raw([6, 1])],
    ['a time in the other tag', 'parameter-type', raw([7, new CborTag(0, 1)])],
    ['an actor with a control character', 'parameter-type', raw([8, 'a\u001b[2J'])],
    ['an actor that is true', 'parameter-type', raw([8, true])],
    ['metadata of no kind', 'parameter-unknown', raw([9, 1])],
  ])('%s: refused', (_name, code, bytes) => {
    expect(refusal(() => withAll(bytes)).code).toBe(code);
  });
});

describe('[UM] 5.7 and 5.8: parameters of several components', () => {
  const multiple = (values: [number, Partial<ParameterTypes>][]): CommandDescription => ({
    code: 34,
    argument: { type: 'parameters-by-component', values: new Map(values) },
  });
  const copies = (codes: [number, number[]][]): CommandDescription => ({
    code: 35,
    argument: { type: 'parameter-copies', codes: new Map(codes) },
  });
  function follow(...install: SequenceDescription) {
    const log: string[] = [];
    const note = (code: number, { index }: { index: number }, parameters: Parameters) => {
      log.push(`${code}@${index} ${parameters.get(21)}`);
      return { ok: true } as const;
    };
    const outcome = runSequences(written(installing(...install)), 'install', {
      condition: note,
      directive: note,
    });
    return { outcome, log };
  }
  const fetch = command(21, 0);

  test('override-multiple sets each and leaves the index at the last one listed', () => {
    const { log } = follow(
      multiple([
        [0, { 21: '#a' }],
        [2, { 21: '#c' }],
      ]),
      fetch,
      setIndex(0),
      fetch,
    );
    expect(log).toEqual(['21@2 #c', '21@0 #a']);
  });

  test('copy-params takes from others what they have, and replaces', () => {
    const { log } = follow(
      override({ 21: '#a', 14: 1 }),
      setIndex([1, 2]),
      override({ 21: '#old' }),
      copies([[0, [21]]]),
      fetch,
    );
    expect(log).toEqual(['21@1 #a', '21@2 #a']);
  });

  test('copy-params of what is not set: abort', () => {
    expect(follow(copies([[1, [21]]]))).toMatchObject({ outcome: { reason: 'parameter-missing' }, log: [] });
  });

  test('12 and 13 belong to no component and cannot be copied', () => {
    expect(refusal(() => withAll(withInstall(35, map([0, [13]])))).code).toBe('command-argument');
  });

  test.each<[string, Uint8Array]>([
    ['an empty map', withInstall(34, map())],
    ['a component without parameters', withInstall(34, map([0, map()]))],
    ['an empty list', withInstall(35, map([0, []]))],
    ['no map', withInstall(35, 1)],
  ])('%s: refused', (_name, bytes) => {
    expect(refusal(() => withAll(bytes)).code).toBe('command-argument');
  });

  test('a component that is not there: refused', () => {
    expect(refusal(() => withAll(withInstall(34, map([1, map([21, '#a'])])))).code).toBe('component-index');
    expect(refusal(() => withAll(withInstall(35, map([1, [21]])))).code).toBe('component-index');
  });

  test('[M] Appendix A: neither stands in the shared sequence', () => {
    for (const pair of [[34, map([0, map([21, '#a'])])] as const, [35, map([0, [21]])] as const]) {
      expect(refusal(() => withAll(rawManifest({ shared: pair }))).code).toBe('shared-sequence');
    }
  });
});

describe('[FE] 4: encryption info', () => {
  test.each<[string, CborValue]>([
    ['no COSE_Encrypt', fromHex('00')],
    ['without its tag', fromHex('8440a0f6818340a0f6')],
    ['COSE_Encrypt0', fromHex('d08340a0f6')],
    ['with the ciphertext in it', fromHex('d8608440a04100818340a0f6')],
    ['not wrapped', new CborTag(96, [new Uint8Array(0), map(), null, [[new Uint8Array(0), map(), null]]])],
    ['with bytes after it', fromHex('d8608440a0f6818340a0f600')],
  ])('%s: refused before anything runs', (_name, value) => {
    expect(refusal(() => withAll(settingRaw(19, value))).code).toBe('parameter-type');
  });

  test('section 9.2: the copy is given the info and its source; what is fetched before is not decrypted', () => {
    const { manifest } = openEnvelope(sourceOf(FE_COPY));
    const log: unknown[] = [];
    const note = (code: number, { index }: { index: number }, parameters: Parameters) => {
      log.push([code, index, parameters.get(19)?.length, parameters.get(22)]);
      return { ok: true } as const;
    };
    expect(runSequences(withAll(manifest), 'install', { condition: note, directive: note })).toEqual({
      ok: true,
    });
    expect(log).toEqual([
      [21, 1, undefined, undefined],
      [22, 0, 62, 1],
    ]);
  });

  test('is written as it was read', () => {
    expect(toHex(roundTrip({ 19: INFO }).get(19)!)).toBe(toHex(INFO));
  });
});

describe('the anatomy', () => {
  const find = (regions: readonly Region[], path: string): Region => {
    for (const region of regions) {
      if (region.path === path) return region;
      const inside =
        region.children && path.startsWith(region.path.split('/')[0]!)
          ? tryFind(region.children, path)
          : undefined;
      if (inside) return inside;
    }
    return expect.unreachable(path);
  };
  function tryFind(regions: readonly Region[], path: string): Region | undefined {
    for (const region of regions) {
      if (region.path === path) return region;
      const inside = region.children && tryFind(region.children, path);
      if (inside) return inside;
    }
    return undefined;
  }
  const at = (bytes: Uint8Array, path: string): Region => find(mapBytes(sourceOf(bytes)), `envelope/${path}`);

  test('[FE]: the recipients of encryption info, with algorithm, key identifier and ephemeral key', () => {
    const info = 'manifest/install/1-directive-override-parameters/parameter-encryption-info';
    const bytes = FE_DEPENDENCY;
    expect(at(bytes, info).value).toBe('for 1 recipient');
    expect(at(bytes, `${info}/recipients/0/protected/alg`).value).toBe('-29 (ECDH-ES+A128KW)');
    expect(at(bytes, `${info}/recipients/0/unprotected/ephemeral-key/x-coordinate`).clause).toContain(
      'RFC 9053',
    );
    expect(at(bytes, `${info}/recipients/0/unprotected/kid`).value).toBe(toHex(fromUtf8('kid-2')));
    expect(at(bytes, `${info}/protected/alg`).value).toMatch(/^1 \(.*GCM/);
  });

  test('[TD]: the map of dependencies, its prefix, and the sections', () => {
    expect(at(TD_PROCESS, 'manifest/common/dependencies/component-1/prefix').value).toBe("'dependent.suit'");
    expect(at(TD_PROCESS, 'manifest/dependency-resolution/2-directive-fetch').clause).toBe('[M] 8.4.10.4');
    expect(at(TD_PROCESS, 'manifest/install/3-directive-process-dependency').clause).toBe('[TD] 5.6.2');
  });

  test('[TD] 8.1.1: an integrated dependency is divided like the envelope around it, at its own offsets', () => {
    const inner = at(TD_INTEGRATED, '#dependent.suit/envelope/manifest');
    const alone = at(TD_DEPENDENCY, 'manifest');
    expect(inner.length).toBe(alone.length);
    const start = TD_INTEGRATED.length - TD_DEPENDENCY.length;
    expect(inner.offset).toBe(alone.offset + start);
    expect(at(TD_INTEGRATED, '#dependent.suit').title).toContain('integrated dependency');
    expect(diagnosticOfEnvelope(sourceOf(TD_INTEGRATED))).toContain(
      '/ integrated dependency / "#dependent.suit": <<107({',
    );
    expectTiling(mapBytes(sourceOf(TD_INTEGRATED)), 0, TD_INTEGRATED.length);
  });

  test('among more elements than a processor takes, nothing under a text key is read', () => {
    const many = Array.from({ length: SUIT_LIMITS.envelopeEntries }, (_, i): [string, Uint8Array] => [
      `#${String(i).padStart(2, '0')}`,
      TD_DEPENDENCY,
    ]);
    const manifest = rawManifest();
    const bytes = rawEnvelope([2, wrapperOf(manifest)], [3, manifest], ...many);
    expect(at(bytes, '#00').title).toContain('payload');
    expect(diagnosticOfEnvelope(sourceOf(bytes))).not.toContain('integrated dependency');
  });

  test('a payload that only begins like an envelope stays a payload', () => {
    const manifest = rawManifest();
    const bytes = rawEnvelope([2, wrapperOf(manifest)], [3, manifest], ['#image', fromHex('d86ba200')]);
    expect(at(bytes, '#image').title).toContain('payload');
  });

  test('[UM]: events, metadata and lists have their words', () => {
    const bytes = (...pairs: CborValue[]): Uint8Array => {
      const manifest = withInstall(...pairs);
      return rawEnvelope([2, wrapperOf(manifest)], [3, manifest]);
    };
    const waits = bytes(20, map([29, encode(map([4, [fromUtf8('hub'), [[1, [2, 0]]]]], [8, 3600]))]));
    const info = 'manifest/install/0-directive-override-parameters/parameter-wait-info';
    expect(at(waits, `${info}/wait-event-other-device-version/device`).value).toBe("'hub'");
    expect(at(waits, `${info}/wait-event-time-of-day-utc`).title).toBe('wait event time of day utc');
    const lists = bytes(34, map([0, map([21, '#a'])]), 35, map([0, [21]]));
    const install = 'manifest/install';
    expect(at(lists, `${install}/0-directive-override-multiple/component-0/parameter-uri`).value).toBe('#a');
    expect(at(lists, `${install}/1-directive-copy-params/component-0/0`).value).toBe('21 (parameter: uri)');
    const files = bytes(20, map([30, encode(map([5, 1]))]));
    const metadata = 'manifest/install/0-directive-override-parameters/parameter-component-metadata';
    expect(at(files, `${metadata}/file-type`).title).toBe('file type');
  });
});

function expectTiling(regions: readonly Region[], start: number, end: number): void {
  let at = start;
  for (const region of regions) {
    if (region.offset !== at || region.length <= 0)
      throw new Error(`${region.path} begins at ${region.offset}, not ${at}`);
    if (region.children) expectTiling(region.children, region.offset, region.offset + region.length);
    at += region.length;
  }
  if (at !== end) throw new Error(`regions end at ${at}, not ${end}`);
}

describe('hostile bytes', () => {
  const subjects: [string, Uint8Array][] = [
    ['[TD] Example 0', TD_PROCESS],
    ['[TD] Example 1', TD_INTEGRATED],
    ['[FE] dependency', FE_DEPENDENCY],
    ['[FE] copy', FE_COPY],
  ];

  test.each(subjects)('%s, every bit flipped: read or refused, and still accounted for', (_name, bytes) => {
    let refused = 0;
    for (let bit = 0; bit < bytes.length * 8; bit++) {
      const changed = bytes.slice();
      changed[bit >> 3]! ^= 1 << (bit & 7);
      try {
        const { manifest, severed } = openEnvelope(sourceOf(changed), SUIT_LIMITS, ALL_EXTENSIONS);
        readManifest(manifest, { severed, extensions: ALL_EXTENSIONS });
      } catch (error) {
        expect(error).toBeInstanceOf(SuitError);
        refused++;
      }
      if (bit % 41 !== 0) continue;
      expectTiling(mapBytes(sourceOf(changed)), 0, changed.length);
      diagnosticOfEnvelope(sourceOf(changed));
    }
    expect(refused).toBeGreaterThan(0);
  });

  test('any bytes for any structured parameter: a value or a SuitError', () => {
    fc.assert(
      fc.property(fc.constantFrom(19, 29, 30, 28, 3), fc.uint8Array({ maxLength: 120 }), (code, bytes) => {
        try {
          withAll(settingRaw(code, bytes));
        } catch (error) {
          expect(error).toBeInstanceOf(SuitError);
        }
      }),
      { numRuns: 1000 },
    );
  });
});

describe('[M] 8.1: what is written is what is read', () => {
  test('several components, dependencies, sections of every name, coswid severed', () => {
    const sections: SectionName[] = [
      'dependency-resolution',
      'payload-fetch',
      'candidate-verification',
      'install',
      'validate',
      'load',
      'invoke',
      'uninstall',
    ];
    const description = describing({
      dependencies: new Map([
        [1, { prefix: [fromUtf8('p')] }],
        [3, {}],
      ]),
      componentId: [fromUtf8('root'), fromUtf8('one')],
      coswid: encode(new CborTag(1398229316, map([0, 'x'.repeat(60)]))),
      sequences: new Map(sections.map((name) => [name, [setIndex([0, 3]), command(14, 1)]])),
      sever: ['coswid'],
    });
    const { manifest, severed } = writeManifest(description);
    expect([...severed.keys()]).toEqual([14]);
    const read = withAll(manifest);
    expect([...read.sequences.keys()].sort()).toEqual([...sections].sort());
    expect([...read.dependencies.keys()]).toEqual([1, 3]);
    expect(read.targets).toHaveLength(4);
    expect(read.componentId).toEqual(description.componentId);
    expect(read.coswid).toMatchObject({ state: 'absent' });
    expect(toHex(writeManifest(description).manifest)).toBe(toHex(manifest));
  });
});

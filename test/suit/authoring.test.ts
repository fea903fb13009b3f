import { describe, expect, test } from 'vitest';
import { concat, fromHex, fromUtf8, sourceOf, toHex } from '../../src/bytes/index.ts';
import { encode } from '../../src/cbor/index.ts';
import { command, override, type SequenceDescription, setIndex } from '../../src/suit/description.ts';
import {
  describeRelease,
  digestMatches,
  digestOf,
  encodeDigest,
  integratedUris,
  type Manifest,
  manifestDigestMatches,
  openEnvelope,
  type ParameterTypes,
  parseUuid,
  type ReleaseFacts,
  readManifest,
  readText,
  SuitError,
  writeEnvelopeHead,
  writeManifest,
} from '../../src/suit/index.ts';
import { EXAMPLE_0, EXAMPLE_1, EXAMPLE_3 } from './examples.ts';

const ONE_IMAGE = {
  digest: fromHex('00112233445566778899aabbccddeeff0123456789abcdeffedcba9876543210'),
  sizeBytes: 34768,
};
const OTHER_IMAGE = {
  digest: fromHex('0123456789abcdeffedcba987654321000112233445566778899aabbccddeeff'),
  sizeBytes: 76834,
};
/** The identifiers and the component of the examples: draft-ietf-suit-manifest-37 Appendix B. */
const COMMON = {
  vendorId: parseUuid('fa6b4a53-d5ad-5fdf-be9d-e663e4d41ffe'),
  classId: parseUuid('1492af14-2569-5e48-bf42-9b2d51f2ab45'),
  component: [fromHex('00')],
};
const DESCRIBED: readonly [string, Uint8Array, ReleaseFacts][] = [
  [
    'B.1 Example 0, secure boot',
    EXAMPLE_0,
    { ...COMMON, shape: 'remapped', sequenceNumber: 0, images: [ONE_IMAGE], start: true },
  ],
  [
    'B.2 Example 1, download and installation',
    EXAMPLE_1,
    {
      ...COMMON,
      shape: 'position-independent',
      sequenceNumber: 1,
      images: [{ ...ONE_IMAGE, uri: 'http://example.com/file.bin' }],
      start: false,
    },
  ],
  [
    'B.4 Example 3, A/B images',
    EXAMPLE_3,
    {
      ...COMMON,
      shape: 'linked',
      sequenceNumber: 3n,
      images: [
        { ...ONE_IMAGE, uri: 'http://example.com/file1.bin' },
        { ...OTHER_IMAGE, uri: 'http://example.com/file2.bin' },
      ],
      start: false,
    },
  ],
];

describe('draft-ietf-suit-manifest-37 Appendix B: the templates of section 7 give the published bytes', () => {
  test.each(DESCRIBED)('%s: manifest and digest from its description', (_name, published, facts) => {
    const { manifest, severed } = writeManifest(describeRelease(facts));
    const envelope = openEnvelope(sourceOf(published));
    expect(toHex(manifest)).toBe(toHex(envelope.manifest));
    expect(encodeDigest(digestOf(encode(manifest)))).toEqual(envelope.digest.encoded);
    expect(severed.size).toBe(0);
  });

  test.each(DESCRIBED)('%s: the whole envelope around the published signature', (_name, published, facts) => {
    const { manifest, severed } = writeManifest(describeRelease(facts));
    const digest = encodeDigest(digestOf(encode(manifest)));
    const blocks = openEnvelope(sourceOf(published)).blocks.map((block) => block.bytes);
    const pieces = writeEnvelopeHead({ digest, blocks, manifest, severed, integrated: [] });
    expect(toHex(concat(...pieces))).toBe(toHex(published));
  });
});

const VENT: ReleaseFacts = {
  shape: 'remapped',
  sequenceNumber: 7,
  vendorId: parseUuid('4638e62c-7425-55c8-b299-247f7870a11f'),
  classId: parseUuid('149a892a-ea1e-5f65-bce3-27594a29ad0f'),
  images: [{ ...ONE_IMAGE, uri: '#image' }],
  start: true,
  version: '1.4.0-rc.2',
  text: {
    language: 'en',
    manifestDescription: 'Vent controller firmware, release candidate',
    modelName: 'VC-2',
  },
};

function read(facts: ReleaseFacts): Manifest {
  return readManifest(writeManifest(describeRelease(facts)).manifest);
}

function codes(manifest: Manifest, name: 'payload-fetch' | 'install' | 'validate' | 'invoke'): number[] {
  const section = manifest.sequences.get(name);
  if (section?.state !== 'in-place') throw new Error(`${name} is not in place`);
  return section.value.commands.map((command) => command.row.code);
}

describe('[M] section 7: templates of the slot shapes', () => {
  test('7.1, 7.2, 7.3, 7.5: one image, integrated', () => {
    const manifest = read(VENT);
    expect(manifest.components).toEqual([[fromUtf8('main')]]);
    expect(manifest.shared!.commands.map((command) => command.row.code)).toEqual([20, 1, 2]);
    expect(codes(manifest, 'install')).toEqual([20, 21, 3]);
    expect(codes(manifest, 'validate')).toEqual([3]);
    expect(codes(manifest, 'invoke')).toEqual([23]);
  });

  test('7.7: linked images choose by slot in shared, install and invoke', () => {
    const images = integratedUris('linked').map((uri, i) => ({ ...(i ? OTHER_IMAGE : ONE_IMAGE), uri }));
    const manifest = read({ ...VENT, shape: 'linked', images });
    expect(manifest.shared!.commands.map((command) => command.row.code)).toEqual([20, 15, 1, 2]);
    expect(codes(manifest, 'install')).toEqual([15, 21, 3]);
    expect(codes(manifest, 'invoke')).toEqual([15, 23]);
  });

  test('7.3 and 7.4: a staged image is fetched to component 1 and copied to component 0', () => {
    const manifest = read({ ...VENT, shape: 'staged' });
    expect(manifest.components).toEqual([[fromUtf8('main')], [fromUtf8('staging')]]);
    expect(codes(manifest, 'payload-fetch')).toEqual([12, 20, 21, 3]);
    expect(codes(manifest, 'install')).toEqual([12, 20, 22, 3]);
    expect(codes(manifest, 'validate')).toEqual([12, 3]);
    expect(codes(manifest, 'invoke')).toEqual([12, 23]);
  });

  test('8.4.9.1: a release for one unit names it and checks it', () => {
    const deviceId = parseUuid('2ed6657d-e927-568b-95e1-2665a8aea6a2');
    const shared = read({ ...VENT, deviceId }).shared!;
    expect(shared.commands.map((command) => command.row.code)).toEqual([20, 1, 2, 24]);
    const first = shared.commands[0]!.argument;
    expect(first.type === 'parameters' && first.values.get(24)).toEqual(deviceId);
  });

  test('section 7, second note: a digest is set by override-parameters (20)', () => {
    const command = read(VENT).shared!.commands[0]!;
    expect(command.row.code).toBe(20);
    expect(command.argument.type === 'parameters' && command.argument.values.get(3)!.bytes).toEqual(
      ONE_IMAGE.digest,
    );
  });

  test.each([
    ['two images for one slot shape', { images: [ONE_IMAGE, OTHER_IMAGE] }],
    ['one image for linked slots', { shape: 'linked' as const }],
    ['a staged image nobody can fetch', { shape: 'staged' as const, images: [ONE_IMAGE] }],
    [
      'a URI for one of two images',
      { shape: 'linked' as const, images: [ONE_IMAGE, { ...OTHER_IMAGE, uri: '#image-b' }] },
    ],
  ])('wrong use: %s', (_name, change) => {
    expect(() => describeRelease({ ...VENT, ...change })).toThrow(TypeError);
  });
});

describe('[M] sections 8.4.12 and 8.6: severing', () => {
  const { manifest, severed } = writeManifest(describeRelease(VENT));

  test('text leaves a digest over its byte string with header, and reads back', () => {
    const content = severed.get(23)!;
    const element = readManifest(manifest).text!;
    expect(element.state).toBe('absent');
    expect(element.state === 'absent' && digestMatches(element.digest, encode(content))).toBe(true);
    expect(element.state === 'absent' && digestMatches(element.digest, content)).toBe(false);
    const english = readText(content).get('en')!;
    expect(english.manifest.get(1)).toBe('Vent controller firmware, release candidate');
    expect(english.components[0]!.texts.get(2)).toBe('VC-2');
  });

  test('8.6: what is no longer than a digest and 4 bytes stays in place', () => {
    const short = { language: 'en', modelName: 'VC-2' };
    const written = writeManifest(describeRelease({ ...VENT, text: short }));
    expect(written.severed.size).toBe(0);
    expect(readManifest(written.manifest).text!.state).toBe('in-place');
  });

  test('a severed sequence attached to the envelope is read; altered or absent it is not', () => {
    const images = [{ ...ONE_IMAGE, uri: 'https://depot.hollinridge.example/vent/1.4.0-rc.2/image.bin' }];
    const written = writeManifest({ ...describeRelease({ ...VENT, images }), sever: ['install', 'text'] });
    expect([...written.severed.keys()]).toEqual([20, 23]);
    const digest = encodeDigest(digestOf(encode(written.manifest)));
    const whole = { digest, blocks: [], ...written, integrated: [] };
    const stateOf = (bytes: Uint8Array) => {
      const envelope = openEnvelope(sourceOf(bytes));
      return readManifest(envelope.manifest, { severed: envelope.severed }).sequences.get('install')!.state;
    };
    const bytes = concat(...writeEnvelopeHead(whole));
    expect(stateOf(bytes)).toBe('attached');
    expect(stateOf(concat(...writeEnvelopeHead({ ...whole, severed: new Map() })))).toBe('absent');
    const altered = new Map(whole.severed).set(20, fromHex('820315'));
    expect(stateOf(concat(...writeEnvelopeHead({ ...whole, severed: altered })))).toBe('altered');
  });
});

describe('[M] section 8.1: deterministic writing', () => {
  test('the same description gives the same bytes', () => {
    expect(writeManifest(describeRelease(VENT))).toEqual(writeManifest(describeRelease({ ...VENT })));
  });

  test('what a unit would refuse is not written', () => {
    const description = describeRelease(VENT);
    const broken = { ...description, components: [...description.components, [fromUtf8('other')]] };
    expect(() => writeManifest(broken)).toThrow(SuitError);
  });

  test('7.5 and RFC 8949 4.2.1: payloads follow every numbered element, shorter keys first', () => {
    const written = writeManifest(describeRelease(VENT));
    const digest = encodeDigest(digestOf(encode(written.manifest)));
    const integrated = [
      { key: '#image-a', length: 3 },
      { key: '#image-b', length: 70_000 },
    ];
    const payloads = [fromHex('010203'), new Uint8Array(70_000)];
    const pieces = writeEnvelopeHead({ digest, blocks: [], ...written, integrated });
    expect(pieces).toHaveLength(2);
    const envelope = openEnvelope(sourceOf(concat(pieces[0]!, payloads[0]!, pieces[1]!, payloads[1]!)));
    expect(manifestDigestMatches(envelope)).toBe(true);
    expect([...envelope.integrated].map(([key, { length }]) => [key, length])).toEqual([
      ['#image-a', 3],
      ['#image-b', 70_000],
    ]);
    expect(() =>
      writeEnvelopeHead({ digest, blocks: [], ...written, integrated: integrated.toReversed() }),
    ).toThrow(TypeError);
  });
});

describe('[M] 8.4: what is written reads back the same', () => {
  const values: Partial<ParameterTypes> = {
    1: { pen: fromHex('8a5b') },
    2: COMMON.classId,
    3: { algorithm: -16, bytes: ONE_IMAGE.digest },
    4: 2n ** 40n,
    5: 1,
    12: true,
    14: 34768,
    18: fromHex('0102'),
    21: '#image',
    22: 0,
    23: fromHex('a0'),
    24: COMMON.classId,
    26: 1500,
    27: -3,
    28: { comparison: '<', version: [2, 0, -1, 1] },
  };

  test('every parameter, a list of indices, run-sequence, nil after the branches', () => {
    const install: SequenceDescription = [
      setIndex([0, 1]),
      override(values),
      { code: 32, argument: { type: 'sequence', sequence: [command(14, 2)] } },
      {
        code: 15,
        argument: { type: 'branches', branches: [[command(14, 0)], [command(23, 1)]], mayFail: true },
      },
    ];
    const written = writeManifest({
      sequenceNumber: 2n ** 64n - 1n,
      components: [COMMON.component, [fromUtf8('a'), fromUtf8('b')]],
      shared: [],
      sequences: new Map([['install', install]]),
      referenceUri: 'https://depot.hollinridge.example/9',
      setVersion: [1, 4, 0],
      sever: [],
    });
    const manifest = readManifest(written.manifest);
    expect(manifest).toMatchObject({
      shared: undefined,
      setVersion: [1, 4, 0],
      sequenceNumber: 2n ** 64n - 1n,
    });
    const section = manifest.sequences.get('install')!;
    const commands = section.state === 'in-place' ? section.value.commands : [];
    expect(commands.map(({ row, argument }) => [row.code, argument.type])).toEqual([
      [12, 'index'],
      [20, 'parameters'],
      [32, 'sequence'],
      [15, 'branches'],
    ]);
    const set = commands[1]!.argument;
    expect(set.type === 'parameters' && Object.fromEntries(set.values)).toEqual(values);
    expect(commands[0]!.argument).toEqual({ type: 'index', selection: [0, 1] });
    expect(commands[3]!.argument).toMatchObject({ mayFail: true });
  });
});

/**
 * The examples of [M] Appendix B and [FE], from the vector files, whichever half of them is at hand: each is opened, read
 * as independent code has decoded it, and written again from what was read.
 */
import { describe, expect, test } from 'vitest';
import { fromHex, sourceOf, toHex } from '../../src/bytes/index.ts';
import {
  ALL_EXTENSIONS,
  type Command,
  type CommandArgument,
  type CommandDescription,
  type Envelope,
  type Manifest,
  type ManifestDescription,
  manifestDigestMatches,
  openEnvelope,
  type ParameterValue,
  readManifest,
  readText,
  type Sequence,
  type SequenceDescription,
  type Severable,
  SuitError,
  writeManifest,
} from '../../src/suit/index.ts';
import { vectors, vectorsPresent } from '../vectors.ts';

interface Decoded {
  manifestBstrHex: string;
  suitDigestHex: string;
  manifestDigestHex: string;
  envelopeKeys: (number | string)[];
  manifest: { [section: string]: unknown; sequenceNumber: number; common: DecodedCommon };
}

interface DecodedCommon {
  components: unknown;
  sharedSequence?: unknown;
}

const open = (hex: string): Envelope => openEnvelope(sourceOf(fromHex(hex)));
const read = (envelope: Envelope): Manifest =>
  readManifest(envelope.manifest, { severed: envelope.severed, extensions: ALL_EXTENSIONS });

describe.skipIf(!vectorsPresent)('[M] Appendix B', () => {
  const cases: { envelopes: { envelopeHex: string; length: number }[]; decoded: Decoded }[] = vectorsPresent
    ? vectors('suit-manifest-examples').cases
    : [];

  test('is there', () => expect(cases.length).toBeGreaterThan(0));

  test.each(cases)('$id: every form has the one manifest, its digest, one block or none', (example) => {
    for (const { envelopeHex, length } of example.envelopes) {
      const envelope = open(envelopeHex);
      expect(envelopeHex.length / 2).toBe(length);
      expect(envelope.blocks.length).toBeLessThanOrEqual(1);
      expectShell(envelope, example.decoded);
    }
    expect(open(example.envelopes.at(-1)!.envelopeHex).blocks).toHaveLength(1);
  });

  test.each(cases)('$id is read as independent code has decoded it', ({ envelopes, decoded }) => {
    const envelope = open(envelopes.at(-1)!.envelopeHex);
    const keys = [2, 3, ...envelope.severed.keys(), ...envelope.integrated.keys()];
    expect(new Set(decoded.envelopeKeys)).toEqual(new Set(keys));
    expectManifest(read(envelope), decoded.manifest);
  });

  test.each(cases)('$id is written again byte for byte from what it says', ({ envelopes }) => {
    expectRewritten(open(envelopes.at(-1)!.envelopeHex));
  });
});

describe.skipIf(!vectorsPresent)('[FE]: manifests that decrypt', () => {
  const all: { kind: string; envelopeHex: string; decoded: Decoded }[] = vectorsPresent
    ? vectors('suit-encryption-examples').cases
    : [];
  const cases = all.filter(({ kind }) => kind === 'manifest');

  test.each(cases)(
    '$id is opened, read and written again, what it carries likewise',
    ({ envelopeHex, decoded }) => {
      const envelope = open(envelopeHex);
      expectShell(envelope, decoded);
      expectRewritten(envelope);
      for (const { offset, length } of envelope.integrated.values()) {
        expectRewritten(open(toHex(envelope.source.read(offset, length))));
      }
    },
  );

  test.each(cases)(
    '$id: a processor that does not decrypt refuses it, before anything runs',
    ({ envelopeHex }) => {
      expect(() => readManifest(open(envelopeHex).manifest)).toThrow(SuitError);
    },
  );
});

function expectShell(envelope: Envelope, decoded: Decoded): void {
  expect(manifestDigestMatches(envelope)).toBe(true);
  expect(toHex(envelope.manifestBstr)).toBe(decoded.manifestBstrHex);
  expect(toHex(envelope.digest.encoded)).toBe(decoded.suitDigestHex);
  expect(toHex(envelope.digest.bytes)).toBe(decoded.manifestDigestHex);
}

function expectManifest(manifest: Manifest, decoded: Decoded['manifest']): void {
  expect(Number(manifest.sequenceNumber)).toBe(decoded.sequenceNumber);
  expect(manifest.components.map((each) => each.map((segment) => ({ h: toHex(segment) })))).toEqual(
    decoded.common.components,
  );
  expect(manifest.shared && typed(manifest.shared)).toEqual(decoded.common.sharedSequence);
  for (const [name, section] of manifest.sequences) {
    const inJson = name.replace(/-(.)/g, (_, letter: string) => letter.toUpperCase());
    const found = decoded[inJson] ?? decoded[name];
    if (section.state === 'in-place') expect(typed(section.value)).toEqual(found);
    else expect({ severed: typedDigest(section.digest) }).toEqual(found);
  }
}

/** A sequence in the typed JSON of the vector files. */
function typed(sequence: Sequence): unknown {
  return sequence.commands.map(({ row, argument }) => [row.code, typedArgument(argument)]);
}

function typedArgument(argument: CommandArgument): unknown {
  switch (argument.type) {
    case 'policy':
      return argument.policy;
    case 'index':
      return argument.selection;
    case 'branches':
      return { tryEach: argument.branches.map(typed) };
    case 'parameters':
      return { m: [...argument.values].map(([code, value]) => [code, typedValue(value)]) };
    default:
      throw new Error(`no example has ${argument.type}`);
  }
}

function typedValue(value: ParameterValue): unknown {
  if (value instanceof Uint8Array) return { h: toHex(value) };
  if (typeof value === 'string') return { t: value };
  if (typeof value !== 'object' || !('algorithm' in value)) return value;
  return { digest: typedDigest(value) };
}

function typedDigest({ algorithm, bytes }: { algorithm: number; bytes: Uint8Array }) {
  return { algorithm, bytesHex: toHex(bytes) };
}

function expectRewritten(envelope: Envelope): void {
  const { manifest, severed } = writeManifest(descriptionOf(read(envelope)));
  expect(toHex(manifest)).toBe(toHex(envelope.manifest));
  const attached = [...envelope.severed].map(([key, { content }]) => [key, toHex(content)] as const);
  expect(new Map([...severed].map(([key, content]) => [key, toHex(content)]))).toEqual(new Map(attached));
}

function descriptionOf(manifest: Manifest): ManifestDescription {
  const { sequenceNumber, components, dependencies, componentId, referenceUri, setVersion } = manifest;
  const named = [...manifest.sequences, ...(manifest.text ? [['text', manifest.text] as const] : [])];
  return {
    ...{ sequenceNumber, components, componentId, referenceUri, setVersion },
    ...(dependencies.size > 0 && { dependencies }),
    shared: manifest.shared ? described(manifest.shared) : [],
    sequences: new Map([...manifest.sequences].map(([name, each]) => [name, described(present(each))])),
    text: manifest.text && readText(present(manifest.text).content),
    sever: named.flatMap(([name, { state }]) => (state === 'attached' ? [name] : [])),
  };
}

function present<T>(element: Severable<T>): T {
  if ('value' in element) return element.value;
  throw new Error(`the whole form of an example leaves nothing ${element.state}`);
}

function described(sequence: Sequence): SequenceDescription {
  return sequence.commands.map(({ row, argument }: Command) => ({
    code: row.code,
    argument: describedArgument(argument),
  }));
}

function describedArgument(argument: CommandArgument): CommandDescription['argument'] {
  if (argument.type === 'parameters') {
    return { type: 'parameters', values: Object.fromEntries(argument.values) };
  }
  if (argument.type === 'branches') {
    return { ...argument, branches: argument.branches.map(described) };
  }
  if (argument.type === 'policy' || argument.type === 'index') return argument;
  throw new Error(`no example has ${argument.type}`);
}

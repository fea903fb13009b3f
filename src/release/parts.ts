import { basename } from 'node:path';
import { fromUtf8, toHex } from '../bytes/index.ts';
import { encode } from '../cbor/index.ts';
import { readImage } from '../image/index.ts';
import {
  ALL_EXTENSIONS,
  type ComponentIdentifier,
  type Envelope,
  type Manifest,
  manifestDigestMatches,
  openEnvelope,
  readManifest,
  type SectionName,
  SuitError,
  writeEnvelopeHead,
} from '../suit/index.ts';
import { componentIdentifier } from '../unit/index.ts';
import {
  type DeviceClass,
  type FileSource,
  fileSource,
  type JsonObject,
  type Workspace,
} from '../workspace/index.ts';
import { requireAuthentic, type Vouching } from './dependency-check.ts';
import { SealError } from './error.ts';
import { hashOf, requireUnchanged } from './images.ts';
import type { ComponentInput } from './request.ts';

/** What a manifest says of the image of a further component. */
export interface NamedComponent {
  readonly name: string;
  readonly identifier: ComponentIdentifier;
  /** SHA-256 over the image, 32 bytes. */
  readonly digest: Uint8Array;
  readonly sizeBytes: number;
  readonly started: boolean;
}

/** An image of a further component that this release brings itself. */
export interface ComponentPart extends NamedComponent {
  readonly file: FileSource;
  readonly path: string;
}

/** What a manifest says of a sealed release that it depends on. */
export interface NamedDependency {
  /** What its envelope is called as a component. */
  readonly name: string;
  /** SHA-256 over its manifest's byte string, 32 bytes. */
  readonly digest: Uint8Array;
  /** SHA-256 over the whole file, 32 bytes. */
  readonly fileDigest: Uint8Array;
  readonly sections: readonly SectionName[];
}

/** Another author's sealed release that this one depends on. */
export interface DependencyPart extends NamedDependency {
  readonly file: FileSource;
  readonly path: string;
  readonly manifest: Manifest;
  readonly vouching: Vouching;
  /** Bytes that a unit keeps of it for the check at start-up, at most. */
  readonly keptSize: number;
}

/** What a manifest says of everything beside the image that runs. */
export interface NamedParts {
  readonly components: readonly NamedComponent[];
  readonly dependencies: readonly NamedDependency[];
}

/** What a release brings beside the image that runs. */
export interface ReleaseParts {
  readonly components: readonly ComponentPart[];
  readonly dependencies: readonly DependencyPart[];
}

/** Whatever has parts that are open. */
export interface OpenedParts {
  readonly parts?: ReleaseParts | undefined;
}

export const NO_PARTS: ReleaseParts = { components: [], dependencies: [] };

/**
 * Opens what a release brings beside the image that runs, and refuses what units of the class would: a component twice
 * or not at all, an envelope that its author did not sign, or one that does more than its author may. Throws `SealError`.
 */
export function openParts(
  workspace: Workspace,
  deviceClass: DeviceClass,
  components: readonly ComponentInput[] = [],
  dependencies: readonly string[] = [],
): ReleaseParts {
  const files: FileSource[] = [];
  const open = (path: string) => {
    const file = fileSource(path);
    files.push(file);
    return file;
  };
  try {
    const parts = {
      components: components.map((input) => openComponent(deviceClass, input, open)),
      dependencies: dependencies.map((path) => openDependency(workspace, deviceClass, path, open)),
    };
    requireEach(deviceClass, parts);
    return parts;
  } catch (error) {
    for (const file of files) file.close();
    throw error;
  }
}

export function closeParts({ components, dependencies }: ReleaseParts): void {
  for (const { file } of [...components, ...dependencies]) file.close();
}

function openComponent(
  { name: className, memory }: DeviceClass,
  { name, path }: ComponentInput,
  open: (path: string) => FileSource,
): ComponentPart {
  const area = memory.components?.find((each) => each.name === name);
  if (!area) throw unknownComponent(className, memory, name);
  const file = open(path);
  const { format } = readImage(file, { name: basename(path) });
  const room = Math.min(...area.areas.map(({ size }) => size));
  if (format !== 'raw' || file.size > room) {
    const why =
      format === 'raw' ? `it has ${file.size} bytes, and the area ${room}` : `it is read as ${format}`;
    throw new SealError(
      'components-wrong',
      `${path} cannot be the image of ${name}: ${why}; nothing was sealed`,
      'the image of a further component is a raw file, byte for byte as it is to be stored',
    );
  }
  const identifier = componentIdentifier(name);
  return {
    name,
    identifier,
    file,
    path,
    digest: hashOf(file.pieces()),
    sizeBytes: file.size,
    started: area.started,
  };
}

function openDependency(
  workspace: Workspace,
  deviceClass: DeviceClass,
  path: string,
  open: (path: string) => FileSource,
): DependencyPart {
  const file = open(path);
  const { envelope, manifest } = readSealed(file, path);
  const vouching = requireAuthentic(workspace, deviceClass, { path, envelope, manifest });
  const [first] = listed(manifest);
  return {
    name: `${(first ?? basename(path)).replaceAll('/', '-')}.suit`,
    file,
    path,
    digest: envelope.digest.bytes,
    fileDigest: hashOf(file.pieces()),
    sections: [...manifest.sequences.keys()],
    manifest,
    vouching,
    keptSize: keptSizeOf(envelope),
  };
}

function readSealed(file: FileSource, path: string): { envelope: Envelope; manifest: Manifest } {
  try {
    const envelope = openEnvelope(file, undefined, ALL_EXTENSIONS);
    if (!manifestDigestMatches(envelope))
      throw new SuitError('digest', 0, 'its digest is not that of its manifest');
    const { manifestStart: base, severed } = envelope;
    return {
      envelope,
      manifest: readManifest(envelope.manifest, { base, severed, extensions: ALL_EXTENSIONS }),
    };
  } catch (error) {
    if (!(error instanceof SuitError)) throw error;
    throw new SealError(
      'dependency-wrong',
      `${path} is no sealed envelope: ${error.message}; nothing was sealed`,
      'give the envelope as its author sealed it',
    );
  }
}

function keptSizeOf({ digest, blocks, manifest }: Envelope): number {
  const parts = { digest: digest.encoded, blocks: blocks.map(({ bytes }) => bytes), manifest };
  const [head] = writeEnvelopeHead({ ...parts, severed: new Map(), integrated: [] });
  return encode(head!).length + encode('#0').length;
}

/** Names of the components that a manifest lists, as the memory map writes them. */
function listed({ targets }: Manifest): string[] {
  const own = targets.filter(({ dependency }) => !dependency);
  return own.map(({ identifier }) =>
    identifier.map((segment) => new TextDecoder().decode(segment)).join('/'),
  );
}

/** Every further component of the class once, from here or from a dependency, and the image that runs from here alone. */
function requireEach(
  { name: className, memory }: DeviceClass,
  { components, dependencies }: ReleaseParts,
): void {
  const brought = [
    ...components.map(({ name }) => name),
    ...dependencies.flatMap(({ manifest }) => listed(manifest)),
  ];
  const wanted = (memory.components ?? []).map(({ name }) => name);
  const strange = brought.find((name) => !wanted.includes(name));
  if (strange !== undefined) throw unknownComponent(className, memory, strange);
  const missing = wanted.find((name) => brought.filter((each) => each === name).length !== 1);
  if (missing === undefined) return;
  const times = brought.filter((each) => each === missing).length;
  throw new SealError(
    'components-wrong',
    `units of class ${className} take a release with the image of ${missing}, and ${times === 0 ? 'none' : times} of it was given; nothing was sealed`,
    `give it once: --component ${missing}=FILE, or --dependency FILE for an envelope that its author sealed`,
  );
}

function unknownComponent(
  className: string,
  { components = [] }: DeviceClass['memory'],
  name: string,
): SealError {
  const known = components.map((each) => each.name);
  return new SealError(
    'components-wrong',
    `units of class ${className} have no component ${JSON.stringify(name)} that could be brought so; nothing was sealed`,
    known.length > 0
      ? `its components are ${known.join(', ')}`
      : 'describe it under memory.components in the class file',
  );
}

/** Parts as records and results show them. */
export function partsJson(
  { components, dependencies }: ReleaseParts,
  uriOf: (part: ComponentPart | DependencyPart) => string,
): JsonObject {
  return {
    components: components.map((part) => ({
      name: part.name,
      digest: toHex(part.digest),
      size_bytes: part.sizeBytes,
      file: basename(part.path),
      uri: uriOf(part),
    })),
    dependencies: dependencies.map((part) => dependencyJson(part, uriOf(part))),
  };
}

function dependencyJson(
  { name, digest, manifest, vouching, path, file }: DependencyPart,
  uri: string,
): JsonObject {
  return {
    name,
    manifest_digest: toHex(digest),
    sequence_number: String(manifest.sequenceNumber),
    components: listed(manifest),
    root: vouching.root,
    signer: vouching.subject,
    file: basename(path),
    size_bytes: file.size,
    uri,
  };
}

/** Refuses to go on where a file was written to since it was opened. */
export function requirePartsUnchanged({ components, dependencies }: ReleaseParts): void {
  requireUnchanged([...components, ...dependencies].map(({ path, file }) => ({ input: { path }, file })));
}

/** The identifier of the component that holds a dependency's envelope. */
export function envelopeIdentifier({ name }: NamedDependency): ComponentIdentifier {
  return [fromUtf8(name)];
}

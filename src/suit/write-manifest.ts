import { CborMap, CborTag, type CborValue, encode } from '../cbor/index.ts';
import { type ComponentMetadata, componentMetadataValue } from './component-metadata.ts';
import { type DeltaInfo, deltaInfoValue } from './delta-info.ts';
import type { CommandDescription, ManifestDescription, SequenceDescription } from './description.ts';
import { digestOf, encodeDigest, type SuitDigest } from './digest.ts';
import { readManifest } from './manifest.ts';
import type { EnterpriseNumber, ParameterTypes, ParameterValue } from './parameters.ts';
import { ALL_EXTENSIONS, MANIFEST_KEYS, PARAMETERS, type ParameterType } from './tables/index.ts';
import type { TextInLanguage } from './text.ts';
import { type VersionMatch, versionMatchValue } from './version.ts';
import { type WaitInfo, waitInfoValue } from './wait.ts';

/** A written manifest: the content of its byte string, and the contents of the severed elements by key. */
export interface WrittenManifest {
  readonly manifest: Uint8Array;
  readonly severed: ReadonlyMap<number, Uint8Array>;
}

/** Below this, a digest in its place would not be shorter ([M] section 8.6: digest bytes plus 4). */
const SMALLEST_SEVERED = 36;

/**
 * Writes a manifest in deterministic CBOR: the same description gives the same bytes ([M] sections 8.1 and 8.4).
 * What is written is read back with all extensions, so nothing leaves here that `readManifest` refuses: `SuitError`
 * then, `TypeError` for values without an encoding and for a digest set otherwise than by override-parameters.
 */
export function writeManifest(description: ManifestDescription): WrittenManifest {
  const severed = new Map<number, Uint8Array>();
  const place = (name: string, content: Uint8Array): [CborValue, CborValue] => {
    const key = keyOf(name);
    const severs = description.sever.some((each) => each === name);
    if (!severs || content.length <= SMALLEST_SEVERED) return [key, content];
    severed.set(key, content);
    return [key, digestValue(digestOf(encode(content)))];
  };
  const entries: [CborValue, CborValue][] = [
    [1, 1],
    [2, description.sequenceNumber],
    [3, encode(commonOf(description))],
  ];
  if (description.referenceUri !== undefined) entries.push([4, description.referenceUri]);
  if (description.componentId) entries.push([5, description.componentId]);
  if (description.setVersion) entries.push([6, encode(description.setVersion)]);
  for (const [name, sequence] of description.sequences) entries.push(place(name, encodeSequence(sequence)));
  if (description.text) entries.push(place('text', encodeText(description.text)));
  if (description.coswid) entries.push(place('coswid', description.coswid));
  const manifest = encode(new CborMap(entries));
  readManifest(manifest, { extensions: ALL_EXTENSIONS });
  return { manifest, severed };
}

function keyOf(name: string): number {
  for (const row of MANIFEST_KEYS.values()) if (row.name === name) return row.code;
  throw new TypeError(`no element of a manifest is named '${name}'`);
}

function commonOf({ components, dependencies, shared }: ManifestDescription): CborMap {
  const entries: [CborValue, CborValue][] = [];
  if (dependencies) entries.push([1, dependenciesValue(dependencies)]);
  if (components.length > 0 || !dependencies) entries.push([2, components]);
  if (shared.length > 0) entries.push([4, encodeSequence(shared)]);
  return new CborMap(entries);
}

function dependenciesValue(dependencies: NonNullable<ManifestDescription['dependencies']>): CborMap {
  return new CborMap(
    [...dependencies].map(([index, { prefix }]): [CborValue, CborValue] => [
      index,
      new CborMap(prefix ? [[1, prefix]] : []),
    ]),
  );
}

/** A flat list of codes and arguments ([M] section 8.4.6). */
function encodeSequence(sequence: SequenceDescription): Uint8Array {
  return encode(sequence.flatMap((each): CborValue[] => [each.code, argumentValue(each)]));
}

const SET_PARAMETERS = 19;
const IMAGE_DIGEST = 3;

function argumentValue({ code, argument }: CommandDescription): CborValue {
  switch (argument.type) {
    case 'policy':
      return argument.policy;
    case 'index':
      return argument.selection;
    case 'parameters':
      if (code === SET_PARAMETERS && argument.values[IMAGE_DIGEST]) {
        throw new TypeError('a digest is set with override-parameters (20), never with 19 ([M] section 7)');
      }
      return parametersValue(argument.values);
    case 'parameters-by-component':
      return byComponent(argument.values, parametersValue);
    case 'parameter-copies':
      return byComponent(argument.codes, (codes) => codes);
    case 'branches': {
      const branches: CborValue[] = argument.branches.map(encodeSequence);
      return argument.mayFail ? [...branches, null] : branches;
    }
    default:
      return encodeSequence(argument.sequence);
  }
}

function byComponent<T>(values: ReadonlyMap<number, T>, encoded: (each: T) => CborValue): CborMap {
  return new CborMap([...values].map(([index, each]): [CborValue, CborValue] => [index, encoded(each)]));
}

/** SUIT_Parameters as a CBOR map ([M] section 8.4.8). Throws `TypeError` for one that has no row in the table. */
export function parametersValue(values: Partial<ParameterTypes>): CborMap {
  return new CborMap(
    Object.entries(values).map(([code, value]): [CborValue, CborValue] => {
      const row = PARAMETERS.get(Number(code));
      if (!row) throw new TypeError(`parameter ${code} has no row in the table`);
      return [row.code, WRITERS[row.type](value)];
    }),
  );
}

const asIs = (value: ParameterValue): CborValue => value as CborValue;

const WRITERS: Readonly<Record<ParameterType, (value: ParameterValue) => CborValue>> = {
  vendor: (value) =>
    value instanceof Uint8Array ? value : new CborTag(112, (value as EnterpriseNumber).pen),
  uuid: asIs,
  digest: (value) => encodeDigest(value as SuitDigest),
  uint: asIs,
  uint64: asIs,
  int: asIs,
  bool: asIs,
  bytes: asIs,
  text: asIs,
  component: asIs,
  'version-match': (value) => encode(versionMatchValue(value as VersionMatch)),
  'encryption-info': asIs,
  'wait-info': (value) => encode(waitInfoValue(value as WaitInfo)),
  'component-metadata': (value) => encode(componentMetadataValue(value as ComponentMetadata)),
  'delta-info': (value) => encode(deltaInfoValue(value as DeltaInfo)),
};

function digestValue(digest: SuitDigest): CborValue {
  return [digest.algorithm, digest.bytes];
}

/** SUIT_Text_Map ([M] section 8.4.4). */
function encodeText(text: ReadonlyMap<string, TextInLanguage>): Uint8Array {
  return encode(
    new CborMap([...text].map(([language, said]): [CborValue, CborValue] => [language, languageValue(said)])),
  );
}

function languageValue(said: TextInLanguage): CborMap {
  return new CborMap([
    ...said.manifest,
    ...said.components.map(({ identifier, texts }): [CborValue, CborValue] => [
      identifier,
      new CborMap(texts),
    ]),
  ]);
}

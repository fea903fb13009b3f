import { CborMap, CborTag, type CborValue, encode } from '../cbor/index.ts';
import type { CommandDescription, ManifestDescription, SequenceDescription } from './description.ts';
import { digestOf, encodeDigest, type SuitDigest } from './digest.ts';
import { readManifest } from './manifest.ts';
import type { EnterpriseNumber, ParameterTypes, ParameterValue } from './parameters.ts';
import { MANIFEST_KEYS, PARAMETERS, type ParameterType } from './tables/index.ts';
import type { TextInLanguage } from './text.ts';
import { COMPARISONS, type VersionMatch } from './version.ts';

/** A written manifest: the content of its byte string, and the contents of the severed elements by key. */
export interface WrittenManifest {
  readonly manifest: Uint8Array;
  readonly severed: ReadonlyMap<number, Uint8Array>;
}

/** Below this, a digest in its place would not be shorter ([M] section 8.6: digest bytes plus 4). */
const SMALLEST_SEVERED = 36;

/**
 * Writes a manifest in deterministic CBOR: the same description gives the same bytes ([M] sections 8.1 and 8.4).
 * What is written is read back as a unit would, so nothing leaves here that `readManifest` refuses: `SuitError`
 * then, `TypeError` for values without an encoding.
 */
export function writeManifest(description: ManifestDescription): WrittenManifest {
  const severed = new Map<number, Uint8Array>();
  const place = (name: string, content: Uint8Array): [CborValue, CborValue] => {
    const key = keyOf(name);
    if (content.length <= SMALLEST_SEVERED || !description.sever.some((each) => each === name))
      return [key, content];
    severed.set(key, content);
    return [key, digestValue(digestOf(encode(content)))];
  };
  const entries: [CborValue, CborValue][] = [
    [1, 1],
    [2, description.sequenceNumber],
    [3, encode(commonOf(description))],
  ];
  if (description.referenceUri !== undefined) entries.push([4, description.referenceUri]);
  if (description.setVersion) entries.push([6, encode(description.setVersion)]);
  for (const [name, sequence] of description.sequences) entries.push(place(name, encodeSequence(sequence)));
  if (description.text) entries.push(place('text', encodeText(description.text)));
  const manifest = encode(new CborMap(entries));
  readManifest(manifest);
  return { manifest, severed };
}

function keyOf(name: string): number {
  for (const row of MANIFEST_KEYS.values()) if (row.name === name) return row.code;
  throw new TypeError(`no element of a manifest is named '${name}'`);
}

function commonOf(description: ManifestDescription): CborMap {
  const components: [CborValue, CborValue] = [2, description.components];
  const shared: [CborValue, CborValue] = [4, encodeSequence(description.shared)];
  return new CborMap(description.shared.length > 0 ? [components, shared] : [components]);
}

/** A flat list of codes and arguments ([M] section 8.4.6). */
function encodeSequence(sequence: SequenceDescription): Uint8Array {
  return encode(sequence.flatMap((each): CborValue[] => [each.code, argumentValue(each.argument)]));
}

function argumentValue(argument: CommandDescription['argument']): CborValue {
  switch (argument.type) {
    case 'policy':
      return argument.policy;
    case 'index':
      return argument.selection;
    case 'parameters':
      return parametersValue(argument.values);
    case 'branches': {
      const branches: CborValue[] = argument.branches.map(encodeSequence);
      return argument.mayFail ? [...branches, null] : branches;
    }
    default:
      return encodeSequence(argument.sequence);
  }
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
  'version-match': (value) => {
    const { comparison, version } = value as VersionMatch;
    return encode([COMPARISONS.indexOf(comparison) + 1, version]);
  },
  unread: () => {
    throw new TypeError('a parameter that does not run here cannot be written');
  },
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

/** Releases of Hollin Ridge whose manifests no template makes, put together command by command. */
import { CborMap, type CborValue, encode } from '../../src/cbor/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import { integratedUris, MAIN_COMPONENT } from '../../src/suit/index.ts';
import { type Pairs, rawManifest, sequence } from '../suit/raw.ts';
import { envelopeOf, imageOf, type Sealing, VENDOR, VENT } from './maker.ts';

export const IMAGE = imageOf(3000, 9);
export const URI = integratedUris('remapped')[0]!;

export const digestParameter = (digest: Uint8Array, algorithm = -16): Uint8Array =>
  encode([algorithm, digest]);

/** override-parameters with these values, which the caller gives in ascending order of their codes. */
export const set = (...entries: [CborValue, CborValue][]): Pairs => [20, new CborMap(entries)];

export const IDS: [CborValue, CborValue][] = [
  [1, VENDOR],
  [2, VENT],
];
export const CONTENT: [CborValue, CborValue][] = [
  [3, digestParameter(sha256(IMAGE))],
  [14, IMAGE.length],
];
export const COMPATIBLE: Pairs = [1, 15, 2, 15];
export const FETCH: Pairs = [...set([21, URI]), 21, 2, 3, 15];

export interface RawParts {
  readonly version?: CborValue;
  readonly number?: CborValue;
  readonly components?: CborValue;
  readonly shared?: Pairs;
  readonly validate?: Pairs | null;
  readonly invoke?: Pairs | null;
  readonly install?: Pairs | null;
  /** Elements above 20, in ascending order. */
  readonly more?: readonly (readonly [CborValue, CborValue])[];
}

/** A manifest that a unit of class VC-2 takes, but for the parts given; null leaves a part out. */
export function rawRelease(parts: RawParts = {}): Uint8Array {
  const section = (key: number, given: Pairs | null | undefined, sound: Pairs): [CborValue, CborValue][] =>
    given === null ? [] : [[key, sequence(...(given ?? sound))]];
  return rawManifest({
    ...(parts.version === undefined ? {} : { version: parts.version }),
    number: parts.number ?? 7,
    components: parts.components ?? [[...MAIN_COMPONENT]],
    shared: parts.shared ?? [...set(...IDS, ...CONTENT), ...COMPATIBLE],
    more: [
      ...section(7, parts.validate, [3, 15]),
      ...section(9, parts.invoke, [23, 2]),
      ...section(20, parts.install, FETCH),
      ...(parts.more ?? []),
    ],
  });
}

/** A sealed envelope around such a manifest, with the image in it. */
export function sealedRaw(seal: Sealing, parts: RawParts = {}): Promise<Uint8Array> {
  return envelopeOf({ manifest: rawRelease(parts), seal, integrated: [{ key: URI, bytes: IMAGE }] });
}

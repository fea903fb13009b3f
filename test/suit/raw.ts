/** Envelopes and manifests put together byte by byte, sound or not. */
import { concat, fromUtf8 } from '../../src/bytes/index.ts';
import { CborEncoded, CborMap, type CborValue, encode, encodeHead } from '../../src/cbor/index.ts';
import { digestOf, encodeDigest } from '../../src/suit/index.ts';

export const UUID = new Uint8Array(16).fill(7);
export const DIGEST: CborValue = [-16, new Uint8Array(32).fill(1)];

/** A map whose entries keep the order given, duplicates and all. */
export function rawMap(...entries: readonly (readonly [CborValue, CborValue])[]): CborEncoded {
  const pairs = entries.flatMap(([key, value]) => [encode(key), encode(value)]);
  return new CborEncoded(concat(encodeHead(5, entries.length), ...pairs));
}

/** A tagged envelope of entries in the order given. */
export function rawEnvelope(...entries: readonly (readonly [CborValue, CborValue])[]): Uint8Array {
  return concat(encodeHead(6, 107), rawMap(...entries).bytes);
}

/** An authentication wrapper without blocks over a manifest's content. */
export function wrapperOf(manifest: Uint8Array): Uint8Array {
  return encode([encodeDigest(digestOf(encode(manifest)))]);
}

export type Pairs = readonly CborValue[];

/** A wrapped command sequence. */
export const sequence = (...pairs: Pairs): Uint8Array => encode([...pairs]);

interface ManifestParts {
  readonly version?: CborValue;
  readonly number?: CborValue;
  readonly components?: CborValue;
  readonly shared?: Pairs;
  readonly common?: CborValue;
  readonly more?: readonly (readonly [CborValue, CborValue])[];
}

/** The content of a manifest; sound by default. */
export function rawManifest(parts: ManifestParts = {}): Uint8Array {
  const components = parts.components ?? [[fromUtf8('main')]];
  const shared: [CborValue, CborValue][] = parts.shared ? [[4, sequence(...parts.shared)]] : [];
  const common = parts.common ?? encode(new CborMap([[2, components], ...shared]));
  return rawMap([1, parts.version ?? 1], [2, parts.number ?? 1], [3, common], ...(parts.more ?? [])).bytes;
}

/** A manifest of one component with this install sequence. */
export const withInstall = (...pairs: Pairs): Uint8Array => rawManifest({ more: [[20, sequence(...pairs)]] });

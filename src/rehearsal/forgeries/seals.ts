/** The throwaway authority's seal: blocks like those of the real payload, by keys that live for one rehearsal. */
import { encode } from '../../cbor/index.ts';
import { digestOf, encodeDigest } from '../../suit/index.ts';
import { type BlockChanges, type HeldMacKey, macBlock, signedBlock } from './blocks.ts';
import { type Parts, putTogether } from './parts.ts';
import type { Hand } from './throwaway.ts';

/** Who seals for the stand-in unit. */
export interface Sealers {
  readonly hands: readonly Hand[];
  readonly macKeys: readonly HeldMacKey[];
  readonly securityVersion: number;
}

/** What a seal is put on: the encoded digest of a manifest. */
export type Sealing = (digest: Uint8Array) => Promise<readonly Uint8Array[]> | readonly Uint8Array[];

/** One block by each hand, or under each MAC key, all with these changes. */
export function sealing(
  { hands, macKeys, securityVersion }: Sealers,
  changes: BlockChanges = {},
): (digest: Uint8Array) => Promise<Uint8Array[]> {
  const all = { securityVersion, ...changes };
  return async (digest) => {
    const signed: Uint8Array[] = [];
    for (const hand of hands) signed.push(await signedBlock(hand, digest, all));
    return [...signed, ...macKeys.map((key) => macBlock(key, digest, all))];
  };
}

/** Digest of a manifest as a wrapper carries it. */
export function sealedDigest(manifest: Uint8Array): Uint8Array {
  return encodeDigest(digestOf(encode(manifest)));
}

/** The envelope around a manifest, sealed. */
export async function sealedEnvelope(parts: Parts, seal: Sealing): Promise<Uint8Array> {
  const digest = sealedDigest(parts.manifest);
  return putTogether({ ...parts, digest, blocks: await seal(digest) });
}

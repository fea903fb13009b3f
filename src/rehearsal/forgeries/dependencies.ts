/** Envelopes inside an envelope: what other authors sealed, sealed again by throwaway authors for the stand-in. */
import { equal } from '../../bytes/index.ts';
import type { CborValue } from '../../cbor/index.ts';
import { SECURITY_VERSION_LABEL, type Verdict } from '../../unit/index.ts';
import { macBlock, openBlock, protectedOf, signedBlock } from './blocks.ts';
import { type Integrated, type Parts, putTogether } from './parts.ts';
import { likenessOf, type StandIn } from './stand-in.ts';
import { partsIn } from './subject.ts';
import type { Hand } from './throwaway.ts';

/** A dependency in an envelope: its place among the integrated payloads, and its own parts. */
export interface IntegratedDependency {
  readonly at: number;
  readonly parts: Parts;
}

/** The dependencies that lie in an envelope, by the digests that the real unit met. */
export function dependenciesIn(
  { integrated }: Parts,
  { dependencies = [] }: Verdict['facts'],
): IntegratedDependency[] {
  return integrated.flatMap(({ bytes }, at) => {
    const parts = partsIn(bytes);
    const met = parts && dependencies.some((each) => equal(each.manifestDigest, parts.digest.slice(-32)));
    return parts && met ? { at, parts } : [];
  });
}

/** Who seals a dependency for the stand-in: a hand like the real author’s; undefined under the symmetric scheme. */
export async function authorOf(
  { parts }: IntegratedDependency,
  { dependencies = [] }: Verdict['facts'],
  { authority }: StandIn,
): Promise<Hand | undefined> {
  const facts = dependencies.find((each) => equal(each.manifestDigest, parts.digest.slice(-32)));
  return facts?.signer && authority.hand(likenessOf(facts.signer));
}

/** A dependency sealed by a hand, or under the stand-in’s MAC key. */
export async function sealedDependency(
  parts: Parts,
  hand: Hand | undefined,
  { sealers }: StandIn,
  securityVersion: CborValue = securityVersionOf(parts),
): Promise<Uint8Array> {
  const changes = { securityVersion };
  const blocks = hand
    ? [await signedBlock(hand, parts.digest, changes)]
    : sealers.macKeys.map((key) => macBlock(key, parts.digest, changes));
  return putTogether({ ...parts, blocks });
}

function securityVersionOf({ blocks: [first] }: Parts): CborValue {
  return (first && protectedOf(openBlock(first)).get(SECURITY_VERSION_LABEL)) ?? 0;
}

/** The same payload, its dependencies sealed by throwaway authors. */
export async function withThrowawayAuthors(
  parts: Parts,
  facts: Verdict['facts'],
  standIn: StandIn,
): Promise<Parts> {
  let integrated: readonly Integrated[] = parts.integrated;
  for (const each of dependenciesIn(parts, facts)) {
    const hand = await authorOf(each, facts, standIn);
    const bytes = await sealedDependency(each.parts, hand, standIn);
    integrated = integrated.map((own, i) => (i === each.at ? { ...own, bytes } : own));
  }
  return { ...parts, integrated };
}

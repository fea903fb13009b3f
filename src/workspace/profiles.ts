import {
  type AgreementAlgorithm,
  type ContentAlgorithm,
  contentAlgorithm,
  keyDistribution,
  macAlgorithm,
  signatureAlgorithm,
  type WrapAlgorithm,
} from '../cose/index.ts';
import { type Scheme, UNIT_PROFILES } from '../unit/index.ts';

/** One algorithm profile of draft-ietf-suit-mti, as a class names it. */
export interface Profile {
  readonly name: string;
  readonly scheme: Scheme;
  /** COSE algorithm that authenticates the payload (RFC 9864, RFC 9053, RFC 8778). */
  readonly authentication: { readonly id: number; readonly name: string };
  /** How a content key reaches units. */
  readonly keyDistribution: WrapAlgorithm | AgreementAlgorithm;
  /** How images are encrypted. */
  readonly content: ContentAlgorithm;
  readonly source: string;
}

/** The six profiles, by their standard names. */
export const PROFILES: readonly Profile[] = UNIT_PROFILES.map((unit) => ({
  name: unit.name,
  scheme: unit.scheme,
  authentication: { id: unit.algorithm, name: algorithmName(unit.algorithm) },
  keyDistribution: keyDistribution(unit.keyDistribution) as WrapAlgorithm | AgreementAlgorithm,
  content: contentAlgorithm(unit.content)!,
  source: unit.source,
}));

/** The key wrap of a profile: its key distribution, or the part of it that wraps. */
export function wrapOf({ keyDistribution: row }: Profile): WrapAlgorithm {
  return row.kind === 'agreement' ? row.wrap : row;
}

function algorithmName(id: number): string {
  return (signatureAlgorithm(id) ?? macAlgorithm(id))!.name;
}

/** The profile of that standard name, or undefined. */
export function findProfile(name: string): Profile | undefined {
  return PROFILES.find((profile) => profile.name === name);
}

/** The profile a class has where its file names none: P-256 signatures, or HMAC-256. */
export function defaultProfile(scheme: Scheme): Profile {
  return findProfile(
    scheme === 'asymmetric' ? 'suit-sha256-esp256-ecdh-a128ctr' : 'suit-sha256-hmac-a128kw-a128ctr',
  )!;
}

import type { Headers } from '../../cose/index.ts';
import { fingerprint } from '../../x509/index.ts';
import type { SignerFacts } from '../facts.ts';
import type { PolicySigner } from '../policy.ts';

/** What vouches for a manifest once steps 2 and 3 have passed. */
export interface Vouched {
  /** Headers that are vouched for; where several signers count, those of one of them. */
  readonly headers: Headers;
  /** Indices of the blocks that a start needs to judge the same again, ascending. */
  readonly blocks: readonly number[];
  /** Who vouches; empty for a MAC, whose key tells nobody apart. */
  readonly signers: readonly PolicySigner[];
}

/** A signer as policies and access control lists see it. */
export function policySigner({ certificate, anchor }: SignerFacts, algorithm: number): PolicySigner {
  const { spki, role, subjectAltUris: scopes } = certificate;
  return { fingerprint: fingerprint(spki), role, algorithm, anchor, scopes };
}

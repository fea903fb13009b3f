import type { Headers } from '../../cose/index.ts';
import { fingerprint } from '../../x509/index.ts';
import type { SignerFacts } from '../facts.ts';
import type { PolicySigner } from '../policy.ts';
import type { AnchorPurpose } from '../record.ts';

/** What vouches for a manifest once steps 2 and 3 have passed. */
export interface Vouched {
  /** Headers that are vouched for; where several signers count, those of one of them. */
  readonly headers: Headers;
  /** Indices of the blocks that a start needs to judge the same again, ascending. */
  readonly blocks: readonly number[];
  /** Who vouches; empty for a MAC, whose key tells nobody apart. */
  readonly signers: readonly PolicySigner[];
  /** Where it is sealed as a trust update: what kind of root stands above its signer. */
  readonly trust?: AnchorPurpose | undefined;
}

/** A signer as policies and access control lists see it. */
export function policySigner(facts: SignerFacts, algorithm: number): PolicySigner {
  return new CertifiedSigner(facts, algorithm);
}

/** Most units have neither policy nor lists, and nobody asks for the fingerprint. */
class CertifiedSigner implements PolicySigner {
  readonly role: string | undefined;
  readonly algorithm: number;
  readonly anchor: string;
  readonly scopes: readonly string[];
  readonly #spki: Uint8Array;

  constructor({ certificate, anchor }: SignerFacts, algorithm: number) {
    this.role = certificate.role;
    this.algorithm = algorithm;
    this.anchor = anchor;
    this.scopes = certificate.subjectAltUris;
    this.#spki = certificate.spki;
  }

  get fingerprint(): string {
    return fingerprint(this.#spki);
  }
}

/** A signer's rights, judged after its path: purpose, scope, generation, deny list (the deployment profile). */
import type { Certificate } from './certificate.ts';
import type { KeyUsage } from './extensions.ts';
import { fingerprint } from './key.ts';
import { PURPOSE_TEXT, purposeOf, type SignerPurpose } from './profile.ts';

/** What a unit asks of a signer. */
export interface SignerDemands {
  /** Scopes that cover the unit, `urn:uuid:<class id>`: the signer must hold at least one of them. */
  readonly scopes: readonly string[];
  /** Lowest generation that still counts. */
  readonly minimumGeneration: number;
  /** Fingerprints (SHA-256 of the SubjectPublicKeyInfo, hexadecimal) of keys that no longer count. */
  readonly denied: readonly string[];
  /** What it must be for. Default: releases. */
  readonly purpose?: SignerPurpose | undefined;
}

export const SIGNER_REFUSALS = {
  'signer-key': "the signer's key is neither P-256 nor Ed25519",
  'signer-purpose': 'the certificate is not one for what was signed',
  'signer-scope': 'the signer may not sign for this class',
  'signer-denied': "the signer's key is on the deny list",
  'signer-generation': 'the signer is of a generation that no longer counts',
} as const;
export type SignerRefusal = keyof typeof SIGNER_REFUSALS;

export type SignerVerdict =
  | { readonly ok: true }
  | { readonly ok: false; readonly code: SignerRefusal; readonly detail: string };

const AUTHORITY_USAGES: readonly KeyUsage[] = ['keyCertSign', 'cRLSign'];

/**
 * Judges a signer's certificate. Never throws on data. A certificate without a generation counts as generation 0,
 * one without a scope covers nothing.
 */
export function judgeSigner(certificate: Certificate, demands: SignerDemands): SignerVerdict {
  const purpose = purposeProblem(certificate, demands.purpose ?? 'release');
  const generation = certificate.generation ?? 0;
  if (!certificate.keyType) return refuse('signer-key', `fingerprint ${fingerprint(certificate.spki)}`);
  if (purpose) return refuse('signer-purpose', purpose);
  if (!isInScope(certificate, demands.scopes))
    return refuse('signer-scope', scopeDetail(certificate, demands));
  const denied = demands.denied.length > 0 ? deniedKey(certificate, demands.denied) : undefined;
  if (denied) return refuse('signer-denied', `fingerprint ${denied}`);
  if (!(generation >= demands.minimumGeneration)) {
    return refuse('signer-generation', `generation ${generation}, at least ${demands.minimumGeneration}`);
  }
  return { ok: true };
}

function deniedKey({ spki }: Certificate, denied: readonly string[]): string | undefined {
  const key = fingerprint(spki);
  return denied.find((each) => each.toLowerCase() === key) && key;
}

function refuse(code: SignerRefusal, detail: string): SignerVerdict {
  return { ok: false, code, detail };
}

// RFC 5280 sections 4.2.1.3, 4.2.1.9, 4.2.1.12: an end entity, for digital signatures, for one of our purposes only.
function purposeProblem(certificate: Certificate, purpose: SignerPurpose): string | undefined {
  const { basicConstraints, keyUsage } = certificate;
  if (basicConstraints?.cA) return "it is an authority's";
  if (!keyUsage?.includes('digitalSignature')) return 'keyUsage lacks digitalSignature';
  const authority = AUTHORITY_USAGES.find((usage) => keyUsage.includes(usage));
  if (authority) return `keyUsage has ${authority}`;
  return purposeOf(certificate) === purpose
    ? undefined
    : `extended key usage is not ${PURPOSE_TEXT[purpose]} alone of our purposes`;
}

// UUIDs are compared without regard to case (RFC 9562 section 4).
function isInScope({ subjectAltUris }: Certificate, scopes: readonly string[]): boolean {
  const isSame = (a: string, b: string) => a === b || a.toLowerCase() === b.toLowerCase();
  return subjectAltUris.some((uri) => scopes.some((scope) => isSame(scope, uri)));
}

function scopeDetail({ subjectAltUris }: Certificate, { scopes }: SignerDemands): string {
  return `signer covers ${subjectAltUris.join(', ') || 'nothing'}; this unit is ${scopes.join(', ') || 'of no class'}`;
}

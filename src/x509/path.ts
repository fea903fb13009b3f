/** Path validation (RFC 5280 section 6.1) as a fielded unit does it: from its own anchors down to the signer. */
import { type CertificateAlgorithm, UNIT_ALGORITHMS } from './algorithm.ts';
import { type Anchor, findAnchor } from './anchor.ts';
import type { Certificate } from './certificate.ts';
import type { Crl } from './crl.ts';
import type { NameConstraints } from './extensions.ts';
import { X509_LIMITS } from './limits.ts';
import { signatureFinding } from './link.ts';
import { sameName } from './name.ts';
import { nameRefusal } from './name-constraints.ts';
import { OID } from './oids.ts';
import type { Finding, PathRefusal } from './path-refusal.ts';
import { type PolicyDemands, PolicyState } from './policies.ts';
import { type Authority, revocationFinding } from './revocation.ts';
import { timeText } from './time.ts';

export interface PathOptions<A extends Anchor = Anchor> {
  /** The signer's certificate first, each followed by its issuer's; the root may be left out. Untrusted. */
  readonly chain: readonly Certificate[];
  readonly anchors: readonly A[];
  /** The time to judge dates by. Absent: dates are not judged, for a unit without a clock. */
  readonly at?: Date | undefined;
  /** Where given, every certificate of the path must be cleared by a list of its issuer. */
  readonly crls?: readonly Crl[] | undefined;
  /** An extended key usage that the path must be for, as an object identifier. */
  readonly purpose?: string;
  /** Signature algorithms that count. Default: `UNIT_ALGORITHMS`. */
  readonly algorithms?: readonly CertificateAlgorithm[];
  readonly policies?: PolicyDemands;
  /** Most certificates looked at. Default: 8. */
  readonly maxLength?: number;
}

export type PathVerdict<A extends Anchor = Anchor> =
  | { readonly ok: true; readonly path: readonly Certificate[]; readonly anchor: A }
  | {
      readonly ok: false;
      readonly code: PathRefusal;
      /** The facts compared, in words. */
      readonly detail: string;
      /** Which certificate of the chain it is about: 0 is the signer's. */
      readonly certificate: number;
    };

/** What is carried from the anchor down (section 6.1.2). */
interface State {
  /** The anchor, then each authority found good. The last is the one that must have signed what follows. */
  readonly authorities: Authority[];
  /** Certificates of authorities that may still follow, self-issued ones not counted. */
  pathLength: number;
  readonly constraints: NameConstraints[];
  readonly policies: PolicyState;
}

/**
 * Validates a chain against the anchors. Never throws on data; the verdict names the certificate and the reason.
 * A self-signed certificate in the chain never becomes an anchor: what follows after the first certificate that an
 * anchor signed is not looked at.
 */
export function validatePath<A extends Anchor>(options: PathOptions<A>): PathVerdict<A> {
  const { chain, maxLength = X509_LIMITS.pathLength.value, algorithms = UNIT_ALGORITHMS } = options;
  if (chain.length === 0) return refuse(0, { code: 'chain-empty', detail: '0 certificates' });
  if (chain.length > maxLength) {
    return refuse(0, {
      code: 'chain-too-long',
      detail: `${chain.length} certificates, at most ${maxLength}`,
    });
  }
  const top = findAnchor(chain, options.anchors, algorithms);
  if ('finding' in top) return refuse(top.index, top.finding);
  const path = chain.slice(0, top.index + 1);
  const state = startState(path, top.anchor, options);
  for (let index = path.length - 1; index >= 0; index--) {
    const finding = judge(path, index, state, options);
    if (finding) return refuse(index, finding);
  }
  return { ok: true, path, anchor: top.anchor };
}

function refuse(certificate: number, { code, detail }: Finding) {
  return { ok: false, code, detail, certificate } as const;
}

function startState(path: readonly Certificate[], { spki }: Anchor, { policies = {} }: PathOptions): State {
  return {
    authorities: [{ name: path.at(-1)!.issuer, spki, keyUsage: undefined }],
    pathLength: path.length,
    constraints: [],
    policies: new PolicyState(path.length, policies),
  };
}

// Sections 6.1.3 to 6.1.5, in their order.
function judge(
  path: readonly Certificate[],
  index: number,
  state: State,
  options: PathOptions,
): Finding | undefined {
  const certificate = path[index]!;
  return (
    basicFinding(path, index, state, options) ??
    nameFinding(certificate, index, state) ??
    policyFinding(certificate, index, state) ??
    (index > 0 ? prepareNext(certificate, state) : undefined) ??
    criticalFinding(certificate) ??
    purposeFinding(certificate, index, options.purpose)
  );
}

// 6.1.3 (a): signature, dates, revocation. The search for the anchor has compared the names, (a)(4), and verified
// the signature by the anchor.
function basicFinding(
  path: readonly Certificate[],
  index: number,
  { authorities }: State,
  { algorithms = UNIT_ALGORITHMS, at, crls }: PathOptions,
): Finding | undefined {
  const certificate = path[index]!;
  const authority = authorities.at(-1)!;
  const isTop = index === path.length - 1;
  return (
    (isTop ? undefined : signatureFinding(certificate, authority.spki, algorithms)) ??
    dateFinding(certificate, at) ??
    (crls && revocationFinding(certificate, { authorities, crls, algorithms, at }))
  );
}

function dateFinding({ notBefore, notAfter }: Certificate, at: Date | undefined): Finding | undefined {
  if (!at) return undefined;
  if (!(at >= notBefore))
    return {
      code: 'not-yet-valid',
      detail: `valid from ${timeText(notBefore)}, judged at ${timeText(at)}`,
    };
  if (notAfter && !(at <= notAfter))
    return {
      code: 'expired',
      detail: `valid until ${timeText(notAfter)}, judged at ${timeText(at)}`,
    };
  return undefined;
}

// 6.1.3 (b), (c): self-issued certificates are exempt, but never the last of the path.
function nameFinding(certificate: Certificate, index: number, { constraints }: State): Finding | undefined {
  if (index > 0 && isSelfIssued(certificate)) return undefined;
  const refused = nameRefusal(certificate, constraints);
  return refused === undefined ? undefined : { code: 'name-not-permitted', detail: refused };
}

// 6.1.3 (d) to (f), 6.1.4 (a), (b), (h) to (j), 6.1.5 (a), (b), (g).
function policyFinding(certificate: Certificate, index: number, { policies }: State): Finding | undefined {
  const selfIssued = isSelfIssued(certificate);
  const holds =
    policies.judge(certificate, index > 0 && selfIssued) &&
    (index > 0 ? policies.prepare(certificate, selfIssued) : policies.finish(certificate));
  const found = certificate.certificatePolicies?.join(', ') ?? 'none';
  return holds
    ? undefined
    : { code: 'policy-not-satisfied', detail: `policies of the certificate: ${found}` };
}

// 6.1.4 (c) to (g), (k) to (n): what an authority passes on, and whether it may be one.
function prepareNext(certificate: Certificate, state: State): Finding | undefined {
  const { basicConstraints, keyUsage, nameConstraints, subject, spki } = certificate;
  if (!basicConstraints?.cA)
    return { code: 'not-an-authority', detail: basicConstraints ? 'cA is false' : 'no basicConstraints' };
  if (!isSelfIssued(certificate)) {
    if (state.pathLength <= 0)
      return { code: 'path-too-long', detail: `${subject.text} is one authority too many` };
    state.pathLength--;
  }
  state.pathLength = Math.min(state.pathLength, basicConstraints.pathLength ?? Infinity);
  if (keyUsage && !keyUsage.includes('keyCertSign'))
    return { code: 'key-usage', detail: `keyUsage is ${keyUsage.join(', ')}` };
  if (nameConstraints) state.constraints.push(nameConstraints);
  state.authorities.push({ name: subject, spki, keyUsage });
  return undefined;
}

// 6.1.4 (o), 6.1.5 (f).
function criticalFinding({ unknownCritical }: Certificate): Finding | undefined {
  const [unknown] = unknownCritical;
  return unknown === undefined
    ? undefined
    : { code: 'critical-extension-unknown', detail: `extension ${unknown}` };
}

// Of an authority, an extended key usage limits what it may issue for (common practice; RFC 5280 is silent).
function purposeFinding(
  { extKeyUsage }: Certificate,
  index: number,
  purpose: string | undefined,
): Finding | undefined {
  if (purpose === undefined || extKeyUsage?.includes(purpose)) return undefined;
  const limitless = extKeyUsage === undefined || extKeyUsage.includes(OID.anyExtendedKeyUsage);
  if (index > 0 && limitless) return undefined;
  return {
    code: 'purpose-not-allowed',
    detail: `wanted ${purpose}, found ${extKeyUsage?.join(', ') ?? 'none'}`,
  };
}

function isSelfIssued({ issuer, subject }: Certificate): boolean {
  return sameName(issuer, subject);
}

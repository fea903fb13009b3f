/** Why a path is refused: the closed list of path validation, one row per reason. */
export interface PathRefusalRow {
  /** What happened. */
  readonly says: string;
  /** What it means, and what to do next. */
  readonly meaning: string;
  readonly next: string;
  readonly source: string;
}

export const PATH_REFUSALS = {
  'chain-empty': {
    says: 'no certificate was given',
    meaning: 'there is nothing that ties the key to an authority',
    next: 'send the signer certificate along',
    source: 'RFC 9360 section 2',
  },
  'chain-too-long': {
    says: 'the chain has more certificates than are looked at',
    meaning: 'a unit bounds its work before it trusts anything',
    next: 'send only the certificates between the signer and the root',
    source: 'RFC 5280 section 6.1',
  },
  'anchor-unknown': {
    says: 'the chain leads to no authority that is held as a trust anchor',
    meaning: 'it was issued under another root, or a certificate between is missing',
    next: 'compare the fingerprints of the roots; send the missing certificate along',
    source: 'RFC 5280 section 6.1.1 (d)',
  },
  'issuer-mismatch': {
    says: 'a certificate names another issuer than the certificate above it',
    meaning: 'the chain is out of order or has a gap',
    next: 'order it with the signer first, each followed by its issuer',
    source: 'RFC 5280 section 6.1.3 (a)(4)',
  },
  'algorithm-not-allowed': {
    says: 'a certificate is signed with an algorithm that the profile does not allow',
    meaning: 'a message never chooses its own algorithm',
    next: 'issue the certificate with P-256 or Ed25519',
    source: 'RFC 5280 section 6.1.3 (a)(1)',
  },
  'signature-wrong': {
    says: 'the signature on a certificate is not by the key of its issuer',
    meaning: 'it was altered, or never came from that authority',
    next: 'do not use it; find out where it came from',
    source: 'RFC 5280 section 6.1.3 (a)(1)',
  },
  'not-yet-valid': {
    says: 'a certificate is not valid yet',
    meaning: 'its time has not come, or the clock is wrong',
    next: 'check the clock, then the start of validity',
    source: 'RFC 5280 section 6.1.3 (a)(2)',
  },
  expired: {
    says: 'a certificate is no longer valid',
    meaning: 'its time is over, or the clock is wrong',
    next: 'check the clock, then issue a new certificate',
    source: 'RFC 5280 section 6.1.3 (a)(2)',
  },
  revoked: {
    says: "a certificate is on its issuer's revocation list",
    meaning: 'the authority took it back',
    next: 'do not use it; sign with a certificate that stands',
    source: 'RFC 5280 section 6.1.3 (a)(3)',
  },
  'crl-missing': {
    says: 'no revocation list of the issuer of a certificate was given',
    meaning: 'whether it was revoked is unknown',
    next: 'give the list of every authority in the path',
    source: 'RFC 5280 section 6.3.3',
  },
  'crl-signature-wrong': {
    says: 'a revocation list is not signed by the key of its issuer',
    meaning: 'it was altered, or never came from that authority',
    next: 'fetch the list from the authority again',
    source: 'RFC 5280 section 6.3.3 (g)',
  },
  'crl-signer-not-allowed': {
    says: 'the authority may not sign revocation lists',
    meaning: 'its keyUsage has no cRLSign',
    next: 'issue the authority with cRLSign',
    source: 'RFC 5280 section 6.3.3 (f)',
  },
  'crl-not-understood': {
    says: 'a revocation list has a critical extension that is not understood',
    meaning: 'what it covers is unknown, so it must not be used',
    next: 'give a complete list of the issuer',
    source: 'RFC 5280 section 5.2',
  },
  'crl-stale': {
    says: 'a revocation list is not current',
    meaning: 'a newer one should exist, or the clock is wrong',
    next: 'check the clock, then fetch the newest list',
    source: 'RFC 5280 section 6.3.3 (a)',
  },
  'name-not-permitted': {
    says: 'a certificate has a name outside what an authority above it may speak for',
    meaning: 'the authority went beyond its name constraints',
    next: 'issue it under the authority for that name',
    source: 'RFC 5280 section 6.1.3 (b) and (c)',
  },
  'policy-not-satisfied': {
    says: 'no acceptable certificate policy holds along the whole path',
    meaning: 'an authority demands an explicit policy and the certificates do not carry it',
    next: 'issue the certificates under the demanded policy',
    source: 'RFC 5280 sections 6.1.3 (f), 6.1.4 (a), 6.1.5 (g)',
  },
  'not-an-authority': {
    says: "a certificate was used to issue another without being an authority's",
    meaning: 'a signer tried to make certificates, or the authority was issued wrongly',
    next: 'do not use the chain; find out who issued it',
    source: 'RFC 5280 section 6.1.4 (k)',
  },
  'path-too-long': {
    says: 'more authorities follow than the one above them permits',
    meaning: 'an authority made another authority without the right to',
    next: 'issue the signer directly under the permitted authority',
    source: 'RFC 5280 section 6.1.4 (l)',
  },
  'key-usage': {
    says: "an authority's keyUsage does not allow signing certificates",
    meaning: 'its key was made for something else',
    next: 'issue the authority with keyCertSign',
    source: 'RFC 5280 section 6.1.4 (n)',
  },
  'purpose-not-allowed': {
    says: 'a certificate is not for the purpose asked for',
    meaning: 'its extended key usage does not list it',
    next: 'use a certificate issued for this purpose',
    source: 'RFC 5280 section 4.2.1.12',
  },
  'critical-extension-unknown': {
    says: 'a certificate has a critical extension that is not understood',
    meaning: 'it carries a condition that would be ignored',
    next: 'issue it without, or not critical',
    source: 'RFC 5280 sections 4.2, 6.1.4 (o), 6.1.5 (f)',
  },
} as const satisfies Record<string, PathRefusalRow>;

export type PathRefusal = keyof typeof PATH_REFUSALS;

/** What one check found: the reason, and the facts compared. */
export interface Finding {
  readonly code: PathRefusal;
  readonly detail: string;
}

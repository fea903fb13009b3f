/**
 * What this product puts into the certificates it issues, and so into the requests for them (standards: RFC 5280
 * section 4.2.1; the choice is the deployment profile's). Root: pathLen 1. Intermediate: pathLen 0. Signer: no
 * authority, digitalSignature, its purpose (code signing, trust updates, or announcements), scope, generation and, where it has
 * one, its role.
 */
import {
  boolean,
  integer,
  namedBits,
  octetString,
  oid,
  primitive,
  sequence,
  utf8String,
} from './der-write.ts';
import { KEY_USAGES, type KeyUsage, type KnownExtensions, SIGNER_ROLE } from './extensions.ts';
import { writeUri } from './general-name.ts';
import { OID } from './oids.ts';
import { X509Error } from './x509-error.ts';

export type Profile = 'root' | 'intermediate' | 'signer';

/**
 * What a signer signs: releases, trust updates (deny list, generation, retirement of a root), or announcements of what is
 * offered where. Never two of them.
 */
export type SignerPurpose = 'release' | 'trust' | 'announcement';

/** Each purpose in words. */
export const PURPOSE_TEXT: Readonly<Record<SignerPurpose, string>> = {
  release: 'code signing',
  trust: 'trust updates',
  announcement: 'announcements',
};

/** The extended key usage of each purpose (RFC 5280 section 4.2.1.12). */
export const PURPOSE_OID: Readonly<Record<SignerPurpose, string>> = {
  release: OID.codeSigning,
  trust: OID.trustUpdate,
  announcement: OID.announcement,
};

/** A signer's rights. */
export interface SignerRights {
  /** Scope: URIs `urn:uuid:<class id>`, at least one, in lower case. */
  readonly scopes?: readonly string[];
  /** Generation, from 0: units refuse signers below the generation they have seen. */
  readonly generation?: number;
  /** What it signs as where units ask for roles, such as author or approver. */
  readonly role?: string | undefined;
  /** What it signs. Default: releases. */
  readonly purpose?: SignerPurpose | undefined;
}

const PATH_LENGTH = { root: 1, intermediate: 0 } as const;
const AUTHORITIES = ['root', 'intermediate'] as const;
const PURPOSES = ['release', 'trust', 'announcement'] as const;
const SCOPE = /^urn:uuid:[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}$/;
const AUTHORITY_USAGES: readonly KeyUsage[] = ['keyCertSign', 'cRLSign'];
const SIGNER_USAGES: readonly KeyUsage[] = ['digitalSignature'];

/**
 * The extensions of a profile, without key identifiers. Throws `X509Error` rights-... where a signer's scope or
 * generation is missing, or one of them or the role malformed, or where an authority is given any.
 */
export function profileExtensions(profile: Profile, rights: SignerRights): Uint8Array[] {
  return profile === 'signer' ? signerExtensions(rights) : authorityExtensions(profile, rights);
}

/** Which profile the extensions of a request or certificate follow; `undefined` where it is none of ours. */
export function profileOf({ basicConstraints, extKeyUsage }: KnownExtensions): Profile | undefined {
  if (basicConstraints?.cA) {
    return AUTHORITIES.find((profile) => PATH_LENGTH[profile] === basicConstraints.pathLength);
  }
  return purposeOf({ extKeyUsage }) ? 'signer' : undefined;
}

/** What a signer's certificate is for: the one of our purposes that it names; `undefined` for none, and for several. */
export function purposeOf({ extKeyUsage }: KnownExtensions): SignerPurpose | undefined {
  const named = PURPOSES.filter((purpose) => extKeyUsage?.includes(PURPOSE_OID[purpose]));
  return named.length === 1 ? named[0] : undefined;
}

/** One Extension (RFC 5280 section 4.1): critical is left out where false. */
export function extension(identifier: string, critical: boolean, value: Uint8Array): Uint8Array {
  return sequence(oid(identifier), ...(critical ? [boolean(true)] : []), octetString(value));
}

/** subjectKeyIdentifier; not critical (section 4.2.1.2). */
export function subjectKeyExtension(identifier: Uint8Array): Uint8Array {
  return extension(OID.subjectKeyIdentifier, false, octetString(identifier));
}

/** authorityKeyIdentifier with the key identifier only; not critical (section 4.2.1.1). */
export function authorityKeyExtension(identifier: Uint8Array): Uint8Array {
  return extension(OID.authorityKeyIdentifier, false, sequence(primitive(0, identifier)));
}

function authorityExtensions(profile: 'root' | 'intermediate', rights: SignerRights): Uint8Array[] {
  if (rights.scopes?.length || rights.generation !== undefined || rights.role !== undefined || rights.purpose)
    throw new X509Error('rights-of-authority');
  const constraints = sequence(boolean(true), integer(PATH_LENGTH[profile]));
  return [extension(OID.basicConstraints, true, constraints), keyUsageExtension(AUTHORITY_USAGES)];
}

function signerExtensions({
  scopes = [],
  generation,
  role,
  purpose = 'release',
}: SignerRights): Uint8Array[] {
  if (scopes.length === 0) throw new X509Error('rights-scope', { detail: 'none given' });
  const malformed = scopes.find((scope) => !SCOPE.test(scope));
  if (malformed !== undefined) throw new X509Error('rights-scope', { detail: malformed });
  if (generation === undefined || !Number.isSafeInteger(generation) || generation < 0) {
    throw new X509Error('rights-generation', { detail: String(generation) });
  }
  if (role !== undefined && !SIGNER_ROLE.test(role)) throw new X509Error('rights-role', { detail: role });
  return [
    extension(OID.basicConstraints, true, sequence()),
    keyUsageExtension(SIGNER_USAGES),
    extension(OID.extKeyUsage, true, sequence(oid(PURPOSE_OID[purpose]))),
    extension(OID.subjectAltName, false, sequence(...scopes.map(writeUri))),
    extension(OID.signerGeneration, false, integer(generation)),
    ...(role === undefined ? [] : [extension(OID.signerRole, false, utf8String(role))]),
  ];
}

function keyUsageExtension(usages: readonly KeyUsage[]): Uint8Array {
  return extension(OID.keyUsage, true, namedBits(usages.map((usage) => KEY_USAGES.indexOf(usage))));
}

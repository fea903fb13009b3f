/** Certificate extensions (RFC 5280 section 4.2), one row per extension that is understood here. */
import { contextTag, type DerReader, TAG } from './der.ts';
import { type GeneralName, MAX_NAMES, readGeneralName, readGeneralNames } from './general-name.ts';
import { OID } from './oids.ts';
import { X509Error } from './x509-error.ts';

/** Names of the keyUsage bits, in bit order (RFC 5280 section 4.2.1.3). */
export const KEY_USAGES = [
  'digitalSignature',
  'nonRepudiation',
  'keyEncipherment',
  'dataEncipherment',
  'keyAgreement',
  'keyCertSign',
  'cRLSign',
  'encipherOnly',
  'decipherOnly',
] as const;
export type KeyUsage = (typeof KEY_USAGES)[number];

export interface BasicConstraints {
  readonly cA: boolean;
  /** Most certificates of authorities that may follow this one; absent: no limit. */
  readonly pathLength: number | undefined;
}

export interface NameConstraints {
  readonly permitted: readonly GeneralName[];
  readonly excluded: readonly GeneralName[];
}

export interface PolicyMapping {
  readonly issuerPolicy: string;
  readonly subjectPolicy: string;
}

export interface PolicyConstraints {
  readonly requireExplicitPolicy: number | undefined;
  readonly inhibitPolicyMapping: number | undefined;
}

/** A signer's role: lower-case letters, digits and inner dashes; 1 to 32 characters, a letter first. */
export const SIGNER_ROLE = /^[a-z](?:[a-z0-9-]{0,30}[a-z0-9])?$/;

/** What the understood extensions say; absent where the extension is. */
export interface KnownExtensions {
  readonly basicConstraints?: BasicConstraints;
  readonly keyUsage?: readonly KeyUsage[];
  /** Purposes as object identifiers (section 4.2.1.12). */
  readonly extKeyUsage?: readonly string[];
  readonly subjectAltNames?: readonly GeneralName[];
  /** subjectKeyIdentifier: a few bytes that name the key, not a proof (section 4.2.1.2). */
  readonly ski?: Uint8Array;
  /** keyIdentifier of the authorityKeyIdentifier (section 4.2.1.1). */
  readonly aki?: Uint8Array;
  readonly nameConstraints?: NameConstraints;
  readonly certificatePolicies?: readonly string[];
  readonly policyMappings?: readonly PolicyMapping[];
  readonly policyConstraints?: PolicyConstraints;
  readonly inhibitAnyPolicy?: number;
  /** Our own: the signer's generation, from 0. */
  readonly generation?: number;
  /** Our own: what the signer signs as, such as author or approver. */
  readonly role?: string;
}

/** One extension as it stands: `value` is the content of its OCTET STRING, `offset` where that starts. */
export interface Extension {
  readonly oid: string;
  readonly critical: boolean;
  readonly value: Uint8Array;
  readonly offset: number;
}

export interface Extensions {
  readonly all: readonly Extension[];
  readonly known: KnownExtensions;
  /** Identifiers of the critical extensions that are not understood here: whoever carries one is refused. */
  readonly unknownCritical: readonly string[];
}

type ExtensionReader = (reader: DerReader) => KnownExtensions;

const READERS: ReadonlyMap<string, ExtensionReader> = new Map<string, ExtensionReader>([
  [OID.basicConstraints, (reader) => ({ basicConstraints: readBasicConstraints(reader) })],
  [OID.keyUsage, (reader) => ({ keyUsage: readKeyUsage(reader) })],
  [OID.extKeyUsage, (reader) => ({ extKeyUsage: oneOrMore(reader, (inner) => inner.oid()) })],
  [OID.subjectAltName, (reader) => ({ subjectAltNames: readGeneralNames(reader) })],
  [OID.subjectKeyIdentifier, (reader) => ({ ski: reader.octetString() })],
  [OID.authorityKeyIdentifier, readAuthorityKeyIdentifier],
  [OID.nameConstraints, (reader) => ({ nameConstraints: readNameConstraints(reader) })],
  [OID.certificatePolicies, (reader) => ({ certificatePolicies: readPolicies(reader) })],
  [OID.policyMappings, (reader) => ({ policyMappings: oneOrMore(reader, readMapping) })],
  [OID.policyConstraints, (reader) => ({ policyConstraints: readPolicyConstraints(reader) })],
  [OID.inhibitAnyPolicy, (reader) => ({ inhibitAnyPolicy: reader.unsigned() })],
  [OID.signerGeneration, (reader) => ({ generation: reader.unsigned() })],
  [OID.signerRole, (reader) => ({ role: readRole(reader) })],
]);

const NONE: Extensions = { all: [], known: {}, unknownCritical: [] };

/** Reads `Extensions`: one or more, each at most once (section 4.2). Throws `DerError` or `X509Error`. */
export function readExtensions(reader: DerReader): Extensions {
  const seen = new Set<string>();
  const known: KnownExtensions = {};
  const unknownCritical: string[] = [];
  const all = oneOrMore(reader, (inner) => {
    const { extension, read } = readExtension(inner);
    if (seen.has(extension.oid)) throw new X509Error('extension-twice', { offset: extension.offset });
    seen.add(extension.oid);
    const rowReader = READERS.get(extension.oid);
    if (rowReader) Object.assign(known, read(rowReader));
    else if (extension.critical) unknownCritical.push(extension.oid);
    return extension;
  });
  return { all, known, unknownCritical };
}

/** `Extensions` behind an explicit tag, where they are there at all. */
export function readTaggedExtensions(reader: DerReader, number: number): Extensions {
  const tagged = reader.enterOptional(contextTag(number, 'constructed'));
  if (!tagged) return NONE;
  const extensions = readExtensions(tagged);
  tagged.finish();
  return extensions;
}

/** One Extension, and a way to read the DER inside it. */
export function readExtension(reader: DerReader): {
  extension: Extension;
  read: <T>(readValue: (reader: DerReader) => T) => T;
} {
  const inner = reader.enter();
  const oid = inner.oid();
  const critical = inner.booleanDefaultFalse();
  const element = inner.element(TAG.octetString);
  inner.finish();
  const read = <T>(readValue: (reader: DerReader) => T): T => {
    const content = reader.inside(element);
    const value = readValue(content);
    content.finish();
    return value;
  };
  return { extension: { oid, critical, value: element.content, offset: element.contentStart }, read };
}

/** Members of a SEQUENCE SIZE (1..MAX), at most `MAX_NAMES`. */
function oneOrMore<T>(reader: DerReader, read: (reader: DerReader) => T): T[] {
  const start = reader.offset;
  const members = reader.enter().each(read);
  if (members.length === 0 || members.length > MAX_NAMES)
    throw new X509Error('names-count', { offset: start });
  return members;
}

/** A role is matched byte by byte, so it comes in one form only: the one that is issued. */
function readRole(reader: DerReader): string {
  const offset = reader.offset;
  const role = reader.utf8String();
  if (!SIGNER_ROLE.test(role)) throw new X509Error('rights-role', { offset });
  return role;
}

function readBasicConstraints(reader: DerReader): BasicConstraints {
  const inner = reader.enter();
  const cA = inner.booleanDefaultFalse();
  const pathLength = inner.atEnd ? undefined : inner.unsigned();
  inner.finish();
  return { cA, pathLength };
}

function readKeyUsage(reader: DerReader): KeyUsage[] {
  const start = reader.offset;
  const usages = reader.namedBits().map((bit) => KEY_USAGES[bit]);
  if (usages.length === 0) throw new X509Error('key-usage-empty', { offset: start });
  return usages.filter((usage) => usage !== undefined);
}

// AuthorityKeyIdentifier: keyIdentifier [0], authorityCertIssuer [1], authorityCertSerialNumber [2].
function readAuthorityKeyIdentifier(reader: DerReader): KnownExtensions {
  const inner = reader.enter();
  const aki = inner.optional(contextTag(0, 'primitive'))?.content;
  inner.enterOptional(contextTag(1, 'constructed'))?.each(readGeneralName);
  if (inner.peek() === contextTag(2, 'primitive')) inner.integerBytes(contextTag(2, 'primitive'));
  inner.finish();
  return aki ? { aki } : {};
}

function readNameConstraints(reader: DerReader): NameConstraints {
  const start = reader.offset;
  const inner = reader.enter();
  const permitted = inner.enterOptional(contextTag(0, 'constructed'))?.each(readSubtree) ?? [];
  const excluded = inner.enterOptional(contextTag(1, 'constructed'))?.each(readSubtree) ?? [];
  inner.finish();
  const count = permitted.length + excluded.length;
  if (count === 0 || count > MAX_NAMES) throw new X509Error('names-count', { offset: start });
  return { permitted, excluded };
}

// RFC 5280 section 4.2.1.10: minimum is always 0 (its default), maximum always absent.
function readSubtree(reader: DerReader): GeneralName {
  const inner = reader.enter();
  const base = readGeneralName(inner);
  inner.finish();
  return base;
}

// Qualifiers are shown to people, not judged: they are only checked to be DER.
function readPolicies(reader: DerReader): string[] {
  const start = reader.offset;
  const policies = oneOrMore(reader, (list) => {
    const inner = list.enter();
    const policy = inner.oid();
    inner.enterOptional(TAG.sequence)?.each((qualifier) => qualifier.any());
    inner.finish();
    return policy;
  });
  if (new Set(policies).size < policies.length) throw new X509Error('policy-twice', { offset: start });
  return policies;
}

function readMapping(reader: DerReader): PolicyMapping {
  const inner = reader.enter();
  const mapping = { issuerPolicy: inner.oid(), subjectPolicy: inner.oid() };
  inner.finish();
  return mapping;
}

function readPolicyConstraints(reader: DerReader): PolicyConstraints {
  const inner = reader.enter();
  const [requireTag, inhibitTag] = [contextTag(0, 'primitive'), contextTag(1, 'primitive')];
  const requireExplicitPolicy =
    inner.peek() === requireTag ? inner.unsigned(undefined, requireTag) : undefined;
  const inhibitPolicyMapping =
    inner.peek() === inhibitTag ? inner.unsigned(undefined, inhibitTag) : undefined;
  inner.finish();
  return { requireExplicitPolicy, inhibitPolicyMapping };
}

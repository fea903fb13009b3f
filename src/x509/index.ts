/**
 * X.509: certificates, requests and revocation lists (RFC 5280, RFC 2986) with the eyes of a fielded unit, and
 * the strict DER (X.690) and PEM (RFC 7468) under them, which the keys room uses too. Signing comes in as a
 * callback, so a key may live anywhere; time comes in as an argument, because a unit may have no clock.
 */
export {
  type CertificateAlgorithm,
  ecdsaFromRaw,
  ecdsaToRaw,
  readSubjectKey,
} from './algorithm.ts';
export type { Anchor } from './anchor.ts';
export { type Certificate, isTrial, parseCertificate } from './certificate.ts';
export {
  type Crl,
  type CrlDescription,
  parseCrl,
  type Revocation,
  type RevocationReason,
  writeCrl,
} from './crl.ts';
export { contextTag, type DerElement, type DerLimits, DerReader, readDer, TAG } from './der.ts';
export { type DerCode, DerError } from './der-error.ts';
export * as der from './der-write.ts';
export { type Extension, type KeyUsage, type KnownExtensions, SIGNER_ROLE } from './extensions.ts';
export type { GeneralName } from './general-name.ts';
export { type CertificateDescription, type Issuer, issueCertificate, issuerOf, newSerial } from './issue.ts';
export { saysIssuedBy } from './issued-by.ts';
export {
  fingerprint,
  fingerprintText,
  isPublishedExampleKey,
  isPublishedExampleSecret,
  keyIdentifier,
  PUBLISHED_EXAMPLE_KEYS,
} from './key.ts';
export { X509_LIMITS } from './limits.ts';
export { type Name, type NameAttribute, parseName, sameName, TRIAL_MARK, writeName } from './name.ts';
export { OID } from './oids.ts';
export { type PathOptions, type PathVerdict, validatePath } from './path.ts';
export { PATH_REFUSALS, type PathRefusal } from './path-refusal.ts';
export { fromPem, onePem, type PemBlock, type PemLabel, toPem } from './pem.ts';
export {
  type Profile,
  PURPOSE_OID,
  PURPOSE_TEXT,
  purposeOf,
  type SignerPurpose,
  type SignerRights,
} from './profile.ts';
export { type CertificationRequest, parseRequest, type RequestDescription, writeRequest } from './request.ts';
export {
  judgeSigner,
  SIGNER_REFUSALS,
  type SignerDemands,
  type SignerRefusal,
  type SignerVerdict,
} from './signer.ts';
export type { SignCallback } from './signing.ts';
export { type X509Code, X509Error } from './x509-error.ts';

/**
 * X.509: certificates, requests and revocation lists (RFC 5280, RFC 2986) with the eyes of a fielded unit, and
 * the strict DER (X.690) and PEM (RFC 7468) under them, which the keys room uses too. Signing comes in as a
 * callback, so a key may live anywhere; time comes in as an argument, because a unit may have no clock.
 */
export { contextTag, type DerElement, type DerLimits, DerReader, readDer, TAG } from './der.ts';
export { DER_REFUSALS, type DerCode, DerError } from './der-error.ts';
export * as der from './der-write.ts';
export { fromPem, onePem, type PemBlock, type PemLabel, toPem } from './pem.ts';
export { X509_REFUSALS, type X509Code, X509Error } from './x509-error.ts';

/** Certificates (RFC 5280 section 4.1), read strictly and once. */
import { ByteMap, toHex } from '../bytes/index.ts';
import type { KeyType } from '../crypto/index.ts';
import { readAlgorithm, readSubjectKey, sameAlgorithm, signatureToRaw } from './algorithm.ts';
import { contextTag, type DerReader, readDer, TAG } from './der.ts';
import { type Extension, type Extensions, type KnownExtensions, readTaggedExtensions } from './extensions.ts';
import { urisOf } from './general-name.ts';
import { X509_LIMITS } from './limits.ts';
import { hasTrialMark, type Name, readName } from './name.ts';
import { OID } from './oids.ts';
import { readEnd, readTime } from './time.ts';
import { X509Error } from './x509-error.ts';

/** One certificate. Byte fields are views into `der`; nothing here says that the certificate is to be trusted. */
export interface Certificate extends KnownExtensions {
  readonly der: Uint8Array;
  /** The bytes that the signature covers. */
  readonly tbs: Uint8Array;
  readonly version: 1 | 2 | 3;
  /** The serial number's content bytes, lower-case hexadecimal. */
  readonly serial: string;
  readonly issuer: Name;
  readonly subject: Name;
  readonly notBefore: Date;
  /** `null`: no well-defined end (RFC 5280 section 4.1.2.5). */
  readonly notAfter: Date | null;
  /** DER SubjectPublicKeyInfo. */
  readonly spki: Uint8Array;
  /** The profile's key type; `undefined` for every other key, and for one that is malformed. */
  readonly keyType: KeyType | undefined;
  /** Every extension as it stands, understood or not. */
  readonly extensions: readonly Extension[];
  readonly unknownCritical: readonly string[];
  /** The URIs among the subjectAltNames: a signer's scope. Empty where there are none. */
  readonly subjectAltUris: readonly string[];
  /** Whether subject or issuer carries the trial mark. */
  readonly trial: boolean;
  /** Object identifier of the signature algorithm. */
  readonly signatureAlgorithm: string;
  /** Raw: 64 bytes for P-256 and Ed25519, empty where malformed; as it stands for all others. */
  readonly signature: Uint8Array;
}

const CACHE_LIMIT = 64;
const cache = new ByteMap<Certificate>(CACHE_LIMIT);

/**
 * Reads one certificate; nothing may follow it. Throws `DerError` or `X509Error` with the byte offset. What was
 * read before comes from memory: only what the bytes say, never a verdict.
 */
export function parseCertificate(der: Uint8Array): Certificate {
  const known = cache.get(der);
  if (known) return known;
  const certificate = readDer(new Uint8Array(der), readCertificate, {
    maxBytes: X509_LIMITS.certificateSize.value,
  });
  cache.add(certificate.der, certificate);
  return certificate;
}

/** Whether the certificate was made for trial: it must never count in production. */
export function isTrial(certificate: Certificate): boolean {
  return certificate.trial;
}

function readCertificate(reader: DerReader): Certificate {
  const outer = reader.element(TAG.sequence);
  const inner = reader.inside(outer);
  const tbsElement = inner.element(TAG.sequence);
  const outerAlgorithm = readAlgorithm(inner);
  const signatureValue = inner.bitStringBytes();
  inner.finish();
  const tbs = readTbs(inner.inside(tbsElement));
  if (!sameAlgorithm(tbs.algorithm, outerAlgorithm)) {
    throw new X509Error('algorithm-mismatch', { offset: tbsElement.end });
  }
  requireSubject(tbs.subject, tbs.extensions, tbsElement.start);
  return Object.freeze({
    der: outer.whole,
    tbs: tbsElement.whole,
    version: tbs.version,
    serial: tbs.serial,
    issuer: tbs.issuer,
    subject: tbs.subject,
    notBefore: tbs.notBefore,
    notAfter: tbs.notAfter,
    spki: tbs.spki,
    keyType: readSubjectKey(tbs.spki)?.type,
    ...tbs.extensions.known,
    extensions: tbs.extensions.all,
    unknownCritical: tbs.extensions.unknownCritical,
    subjectAltUris: urisOf(tbs.extensions.known.subjectAltNames),
    trial: hasTrialMark(tbs.subject) || hasTrialMark(tbs.issuer),
    signatureAlgorithm: outerAlgorithm.oid,
    signature: signatureToRaw(outerAlgorithm.oid, signatureValue),
  });
}

// TBSCertificate (RFC 5280 section 4.1): fields in order.
function readTbs(reader: DerReader) {
  const version = readVersion(reader);
  const serial = readSerial(reader);
  const algorithm = readAlgorithm(reader);
  const issuer = readIssuer(reader);
  const validity = reader.enter();
  const notBefore = readTime(validity);
  const notAfter = readEnd(validity);
  validity.finish();
  const subject = readName(reader);
  const spki = readSpki(reader);
  skipUniqueIds(reader, version);
  const extensions = readTaggedExtensions(reader, 3);
  if (extensions.all.length > 0 && version !== 3) throw new X509Error('version', { offset: reader.offset });
  reader.finish();
  return { version, serial, algorithm, issuer, notBefore, notAfter, subject, spki, extensions };
}

function readVersion(reader: DerReader): 1 | 2 | 3 {
  const start = reader.offset;
  const tagged = reader.enterOptional(contextTag(0, 'constructed'));
  if (!tagged) return 1;
  const value = tagged.unsigned();
  tagged.finish();
  if (value !== 1 && value !== 2) throw new X509Error('version', { offset: start });
  return value === 1 ? 2 : 3;
}

/** A serial number: at most 20 bytes; negative ones are taken as they are (RFC 5280 section 4.1.2.2). */
export function readSerial(reader: DerReader): string {
  const start = reader.offset;
  const bytes = reader.integerBytes();
  if (bytes.length > X509_LIMITS.serialSize.value) throw new X509Error('serial-too-long', { offset: start });
  return toHex(bytes);
}

/** An issuer: a name that is not empty (RFC 5280 section 4.1.2.4). */
export function readIssuer(reader: DerReader): Name {
  const start = reader.offset;
  const issuer = readName(reader);
  if (issuer.parts.length === 0) throw new X509Error('issuer-empty', { offset: start });
  return issuer;
}

/** A SubjectPublicKeyInfo, checked in its outer form: algorithm and a BIT STRING of whole bytes. */
export function readSpki(reader: DerReader): Uint8Array {
  const element = reader.element(TAG.sequence);
  const inner = reader.inside(element);
  const algorithm = inner.enter();
  algorithm.oid();
  if (!algorithm.atEnd) algorithm.any();
  algorithm.finish();
  inner.bitStringBytes();
  inner.finish();
  return element.whole;
}

// issuerUniqueID [1] and subjectUniqueID [2]: read past, in version 2 and 3 only (RFC 5280 section 4.1.2.8).
function skipUniqueIds(reader: DerReader, version: number): void {
  for (const number of [1, 2]) {
    const tag = contextTag(number, 'primitive');
    if (reader.peek() !== tag) continue;
    if (version === 1) throw new X509Error('version', { offset: reader.offset });
    reader.bitString(tag);
  }
}

// RFC 5280 section 4.1.2.6: an empty subject only with a critical subjectAltName, and never for an authority.
function requireSubject(subject: Name, { all, known }: Extensions, offset: number): void {
  if (subject.parts.length > 0) return;
  const named =
    known.subjectAltNames && all.some(({ oid, critical }) => critical && oid === OID.subjectAltName);
  if (!named || known.basicConstraints?.cA) throw new X509Error('subject-empty', { offset });
}

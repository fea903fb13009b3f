/** Issues certificates by the profiles root, intermediate and signer (RFC 5280 section 4). */
import { randomBytes } from '../crypto/index.ts';
import { algorithmFor } from './algorithm.ts';
import type { Certificate } from './certificate.ts';
import { constructed, integer, sequence } from './der-write.ts';
import { keyIdentifier } from './key.ts';
import { type Name, withTrialMark } from './name.ts';
import {
  authorityKeyExtension,
  type Profile,
  profileExtensions,
  type SignerRights,
  subjectKeyExtension,
} from './profile.ts';
import { requireKey, type SignCallback, signStructure } from './signing.ts';
import { writeTime } from './time.ts';
import { X509Error } from './x509-error.ts';

/** Who signs a certificate or CRL: name, key, and the key identifier its own certificate carries. */
export interface Issuer {
  readonly name: Name;
  readonly spki: Uint8Array;
  readonly keyIdentifier?: Uint8Array;
}

/** What a certificate is to say. */
export interface CertificateDescription extends SignerRights {
  readonly profile: Profile;
  readonly subject: Name;
  /** Absent for a root, which signs itself. */
  readonly issuer?: Issuer;
  /** DER SubjectPublicKeyInfo of the subject. */
  readonly publicKey: Uint8Array;
  /** Big-endian, not zero, at most 20 bytes as an INTEGER. Absent: random, as `newSerial` makes it. */
  readonly serial?: Uint8Array;
  readonly notBefore: Date;
  /** `null`: no well-defined end. */
  readonly notAfter: Date | null;
  /** Marks the subject as made for trial. */
  readonly trial: boolean;
}

const VERSION_3 = 2;
const SERIAL_BYTES = 16;

/** A random serial number: positive, 16 bytes (RFC 5280 section 4.1.2.2 allows 20). */
export function newSerial(): Uint8Array {
  const serial = randomBytes(SERIAL_BYTES);
  serial[0] = (serial[0]! & 0x3f) | 0x40;
  return serial;
}

/** The issuer that a certificate's subject is. */
export function issuerOf(certificate: Certificate): Issuer {
  const { subject: name, spki, ski } = certificate;
  return ski ? { name, spki, keyIdentifier: ski } : { name, spki };
}

/**
 * Issues a certificate: its DER. `sign` gets the TBSCertificate and answers with the issuer's raw signature.
 * Throws `X509Error` where the description breaks the profile or the signature is not the issuer's.
 */
export async function issueCertificate(
  description: CertificateDescription,
  sign: SignCallback,
): Promise<Uint8Array> {
  const subject = description.trial ? withTrialMark(description.subject) : description.subject;
  const issuer = issuerFor(description, subject);
  const key = requireKey(issuer.spki);
  requireKey(description.publicKey);
  if (subject.parts.length === 0) throw new X509Error('subject-empty');
  requireValidity(description);
  const tbs = sequence(
    constructed(0, integer(VERSION_3)),
    integer(requireSerial(description.serial ?? newSerial())),
    algorithmFor(key),
    issuer.name.der,
    sequence(writeTime(description.notBefore), writeTime(description.notAfter)),
    subject.der,
    description.publicKey,
    constructed(3, sequence(...extensionsFor(description, issuer))),
  );
  return signStructure(tbs, key, sign);
}

function issuerFor({ profile, issuer, publicKey }: CertificateDescription, subject: Name): Issuer {
  if ((profile === 'root') === (issuer !== undefined)) {
    throw new TypeError('a root signs itself; every other certificate needs an issuer');
  }
  return issuer ?? { name: subject, spki: publicKey };
}

function extensionsFor(description: CertificateDescription, issuer: Issuer): Uint8Array[] {
  return [
    ...profileExtensions(description.profile, description),
    subjectKeyExtension(keyIdentifier(description.publicKey)),
    authorityKeyExtension(issuer.keyIdentifier ?? keyIdentifier(issuer.spki)),
  ];
}

function requireValidity({ notBefore, notAfter }: CertificateDescription): void {
  const end = notAfter?.getTime() ?? Number.POSITIVE_INFINITY;
  if (!(notBefore.getTime() <= end)) throw new X509Error('validity');
}

function requireSerial(serial: Uint8Array): Uint8Array {
  const first = serial.findIndex((byte) => byte !== 0);
  const bytes = serial.length - first + (serial[first]! >= 0x80 ? 1 : 0);
  if (first < 0 || bytes > 20) throw new TypeError('a serial number is positive and has at most 20 bytes');
  return serial;
}

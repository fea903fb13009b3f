/** Certificates that no profile of ours makes, written field by field, so that each rule of a path can be broken alone. */
import type { Signer } from '../../cose/index.ts';
import {
  type Certificate,
  der,
  ecdsaFromRaw,
  type Name,
  OID,
  parseCertificate,
  writeName,
} from '../../x509/index.ts';
import type { Certified } from './throwaway.ts';

const ECDSA_SHA256 = '1.2.840.10045.4.3.2';
/** ecdsa-with-SHA1 (RFC 3279 section 2.2.3): weak, and on no list of a unit. */
export const ECDSA_SHA1 = '1.2.840.10045.4.1';
const SERVER_AUTH = '1.3.6.1.5.5.7.3.1';
const KEY_USAGE_BITS = { digitalSignature: 0, keyCertSign: 5, cRLSign: 6 } as const;

/** What one such certificate says. */
export interface OddCertificate {
  readonly issuer: Certified;
  readonly subject: Name;
  readonly publicKey: Uint8Array;
  readonly extensions: readonly Uint8Array[];
  /** Signature algorithm that it names. Default ECDSA with SHA-256. */
  readonly algorithm?: string;
  /** Who signs it, if not its issuer. */
  readonly signedBy?: Signer;
}

/** Writes and signs one. Issuers of a rehearsal have P-256 keys. */
export async function oddCertificate(odd: OddCertificate): Promise<Certificate> {
  const algorithm = der.sequence(der.oid(odd.algorithm ?? ECDSA_SHA256));
  const tbs = der.sequence(
    der.constructed(0, der.integer(2)),
    der.integer(7),
    algorithm,
    odd.issuer.certificate.subject.der,
    der.sequence(utcTime('200101000000Z'), utcTime('491231235959Z')),
    odd.subject.der,
    odd.publicKey,
    der.constructed(3, der.sequence(...odd.extensions)),
  );
  const signature = await (odd.signedBy ?? odd.issuer.signer).sign(tbs);
  return parseCertificate(der.sequence(tbs, algorithm, der.bitString(ecdsaFromRaw(signature))));
}

function utcTime(text: string): Uint8Array {
  return der.element(0x17, der.asciiBytes(text));
}

function extension(oid: string, critical: boolean, value: Uint8Array): Uint8Array {
  return der.sequence(der.oid(oid), ...(critical ? [der.boolean(true)] : []), der.octetString(value));
}

/** basicConstraints (RFC 5280 section 4.2.1.9). */
export function authority(pathLength?: number): Uint8Array {
  const limit = pathLength === undefined ? [] : [der.integer(pathLength)];
  return extension(OID.basicConstraints, true, der.sequence(der.boolean(true), ...limit));
}

/** basicConstraints of an end entity. */
export function noAuthority(): Uint8Array {
  return extension(OID.basicConstraints, true, der.sequence());
}

/** keyUsage (RFC 5280 section 4.2.1.3). */
export function keyUsage(...usages: readonly (keyof typeof KEY_USAGE_BITS)[]): Uint8Array {
  return extension(OID.keyUsage, true, der.namedBits(usages.map((usage) => KEY_USAGE_BITS[usage])));
}

/** extKeyUsage (RFC 5280 section 4.2.1.12): code signing, or the one of servers. */
export function purpose(which: 'code signing' | 'servers'): Uint8Array {
  const oid = which === 'servers' ? SERVER_AUTH : OID.codeSigning;
  return extension(OID.extKeyUsage, true, der.sequence(der.oid(oid)));
}

/** subjectAltName with the classes that a signer is for. */
export function scope(uris: readonly string[]): Uint8Array {
  const names = uris.map((uri) => der.primitive(6, der.asciiBytes(uri)));
  return extension(OID.subjectAltName, false, der.sequence(...names));
}

/** The generation of a signer. */
export function generation(value: number): Uint8Array {
  return extension(OID.signerGeneration, false, der.integer(value));
}

/** What a signer signs as. */
export function signsAs(role: string): Uint8Array {
  return extension(OID.signerRole, false, der.element(0x0c, der.asciiBytes(role)));
}

/** A critical extension under an arc that nobody reads (2.999: examples, ITU-T X.660). */
export function strangeExtension(): Uint8Array {
  return extension('2.999.1', true, Uint8Array.of(5, 0));
}

/** nameConstraints that permit one other branch of names only (RFC 5280 section 4.2.1.10). */
export function onlyNames(organisation: string): Uint8Array {
  const base = der.constructed(4, writeName([['O', organisation]]).der);
  return extension(OID.nameConstraints, true, der.sequence(der.constructed(0, der.sequence(base))));
}

/** policyConstraints: from here on a certificate policy must be named (RFC 5280 section 4.2.1.11). */
export function policyDemanded(): Uint8Array {
  return extension('2.5.29.36', true, der.sequence(der.primitive(0, Uint8Array.of(0))));
}

/** Certificates that no profile makes: built by hand and signed with a test key, to see them refused. */
import { type Certificate, der, type Name, parseCertificate, parseName } from '../../src/x509/index.ts';
import { FROM, named, type TestKey, UNTIL } from './support.ts';

export interface RawCertificate {
  readonly version?: number;
  readonly serial?: Uint8Array;
  readonly issuer?: Name;
  readonly subject?: Name;
  readonly validity?: readonly [Uint8Array, Uint8Array];
  readonly spki: Uint8Array;
  readonly extensions?: readonly Uint8Array[];
  readonly innerAlgorithm?: Uint8Array;
  readonly outerAlgorithm?: Uint8Array;
}

const ECDSA = der.sequence(der.oid('1.2.840.10045.4.3.2'));

/** DER of a P-256-signed certificate with exactly these fields. */
export async function rawCertificate(raw: RawCertificate, key: TestKey): Promise<Uint8Array> {
  const tbs = der.sequence(
    ...(raw.version === 1 ? [] : [der.constructed(0, der.integer((raw.version ?? 3) - 1))]),
    raw.serial ?? der.integer(7),
    raw.innerAlgorithm ?? ECDSA,
    (raw.issuer ?? named('root')).der,
    der.sequence(...(raw.validity ?? [utcTime(FROM), utcTime(UNTIL)])),
    (raw.subject ?? named('subject')).der,
    raw.spki,
    ...(raw.extensions ? [der.constructed(3, der.sequence(...raw.extensions))] : []),
  );
  const signature = await key.sign(tbs);
  const value = der.sequence(der.integer(signature.subarray(0, 32)), der.integer(signature.subarray(32)));
  return der.sequence(tbs, raw.outerAlgorithm ?? ECDSA, der.bitString(value));
}

export async function rawParsed(raw: RawCertificate, key: TestKey): Promise<Certificate> {
  return parseCertificate(await rawCertificate(raw, key));
}

export function extension(oid: string, critical: boolean, value: Uint8Array): Uint8Array {
  return der.sequence(der.oid(oid), ...(critical ? [der.boolean(true)] : []), der.octetString(value));
}

export function utcTime(date: Date): Uint8Array {
  return timeElement(0x17, `${date.toISOString().slice(2, 19).replaceAll(/[-:T]/g, '')}Z`);
}

export function timeElement(tag: number, text: string): Uint8Array {
  return der.element(tag, new TextEncoder().encode(text));
}

/** A name of one attribute, its text given as a whole string element. */
export function nameOf(type: string, value: Uint8Array): Name {
  return parseName(der.sequence(der.setOf(der.sequence(der.oid(type), value))));
}

/** The same certificate with one bit of its last notAfter digit, or of the subject's last letter, flipped. */
export function altered(certificate: Certificate): Certificate {
  const bytes = certificate.der.slice();
  const at =
    certificate.subject.der.byteOffset - certificate.der.byteOffset + certificate.subject.der.length - 1;
  bytes[at]! ^= 1;
  return parseCertificate(bytes);
}

export const basicConstraints = (cA: boolean, pathLength?: number) =>
  extension(
    '2.5.29.19',
    true,
    der.sequence(
      ...(cA ? [der.boolean(true)] : []),
      ...(pathLength === undefined ? [] : [der.integer(pathLength)]),
    ),
  );

export const keyUsage = (...bits: number[]) => extension('2.5.29.15', true, der.namedBits(bits));

export const DIGITAL_SIGNATURE = 0;
export const KEY_CERT_SIGN = 5;
export const CRL_SIGN = 6;

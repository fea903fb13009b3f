/** Whether the lists at hand clear a certificate (RFC 5280 section 6.3, complete lists of the issuer itself). */
import type { CertificateAlgorithm } from './algorithm.ts';
import type { Certificate } from './certificate.ts';
import type { Crl, Revocation } from './crl.ts';
import type { KeyUsage } from './extensions.ts';
import { type Name, sameName } from './name.ts';
import type { Finding } from './path-refusal.ts';
import { timeText } from './time.ts';

/** The authority above a certificate as path validation knows it: an anchor has no keyUsage. */
export interface Authority {
  readonly name: Name;
  readonly spki: Uint8Array;
  readonly keyUsage: readonly KeyUsage[] | undefined;
}

/** What revocation is judged with. */
export interface RevocationContext {
  /** Authorities of the path so far, the anchor first: a list may be signed with an older key of its issuer. */
  readonly authorities: readonly Authority[];
  readonly crls: readonly Crl[];
  readonly algorithms: readonly CertificateAlgorithm[];
  /** Absent: whether a list is current is not judged. */
  readonly at: Date | undefined;
}

/**
 * `undefined` where a list clears the certificate. A list must be authentic before anything in it counts; one that
 * names the certificate refuses it even when stale, and one that is not understood (a list of changes, say) refuses it
 * because it may name it.
 */
export function revocationFinding(certificate: Certificate, context: RevocationContext): Finding | undefined {
  const own = context.crls.filter((crl) => sameName(crl.issuer, certificate.issuer));
  if (own.length === 0) return { code: 'crl-missing', detail: `no list by ${certificate.issuer.text}` };
  const findings = own.map((crl) => crlFinding(crl, certificate, context));
  const find = (code: Finding['code']) => findings.find((finding) => finding?.code === code);
  const against = find('revoked') ?? find('crl-not-understood');
  return against ?? (findings.includes(undefined) ? undefined : findings[0]);
}

function crlFinding(crl: Crl, certificate: Certificate, context: RevocationContext): Finding | undefined {
  const detail = `list of ${timeText(crl.thisUpdate)} by ${crl.issuer.text}`;
  const signer = signerOf(crl, context);
  const [unknown] = crl.unknownCritical;
  const entry = crl.revoked.get(certificate.serial);
  if (!signer) return { code: 'crl-signature-wrong', detail };
  if (signer.keyUsage && !signer.keyUsage.includes('cRLSign'))
    return { code: 'crl-signer-not-allowed', detail };
  if (unknown !== undefined) return { code: 'crl-not-understood', detail: `${detail}, extension ${unknown}` };
  if (entry) return { code: 'revoked', detail: revokedText(entry) };
  return context.at && !isCurrent(crl, context.at)
    ? { code: 'crl-stale', detail: `${detail}, next ${timeText(crl.nextUpdate)}` }
    : undefined;
}

function signerOf(crl: Crl, { authorities, algorithms }: RevocationContext): Authority | undefined {
  const algorithm = algorithms.find(({ oid }) => oid === crl.signatureAlgorithm);
  return authorities
    .filter(({ name }) => sameName(name, crl.issuer))
    .find(({ spki }) => algorithm?.verify(spki, crl.tbs, crl.signature));
}

function isCurrent({ thisUpdate, nextUpdate }: Crl, at: Date): boolean {
  return thisUpdate <= at && nextUpdate !== undefined && at <= nextUpdate;
}

function revokedText({ serial, date, reason }: Revocation): string {
  return `serial ${serial} since ${timeText(date)}, ${reason ?? 'no reason given'}`;
}

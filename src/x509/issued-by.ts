import { equal } from '../bytes/index.ts';
import type { Certificate } from './certificate.ts';
import { sameName } from './name.ts';

/**
 * Whether a certificate says that it was issued by another's subject: by name, and by key identifier where both have one, for
 * two roots may bear one name (RFC 5280 sections 4.2.1.1 and 4.2.1.2). No proof: the signature is one.
 */
export function saysIssuedBy({ issuer, aki }: Certificate, { subject, ski }: Certificate): boolean {
  return sameName(issuer, subject) && (aki === undefined || ski === undefined || equal(aki, ski));
}

/** One link of a path: a certificate and the key that is said to have signed it. */
import { isSoundKey } from '../crypto/index.ts';
import { type CertificateAlgorithm, readSubjectKey } from './algorithm.ts';
import type { Certificate } from './certificate.ts';
import type { Finding } from './path-refusal.ts';

/** `undefined` where the key signed the certificate with an allowed algorithm (RFC 5280 section 6.1.3 (a)(1)). */
export function signatureFinding(
  certificate: Certificate,
  spki: Uint8Array,
  algorithms: readonly CertificateAlgorithm[],
): Finding | undefined {
  const { signatureAlgorithm, signature, tbs, subject, issuer } = certificate;
  const algorithm = algorithms.find(({ oid }) => oid === signatureAlgorithm);
  if (!algorithm) {
    const allowed = algorithms.map(({ name }) => name).join(', ');
    return { code: 'algorithm-not-allowed', detail: `algorithm ${signatureAlgorithm}, allowed: ${allowed}` };
  }
  if (algorithm.verify(spki, tbs, signature)) return undefined;
  const key = readSubjectKey(spki);
  const everybodys = key && !isSoundKey(key) ? ', under whose key of small order everybody can sign' : '';
  return {
    code: 'signature-wrong',
    detail: `${subject.text}, said to be signed by ${issuer.text}${everybodys}`,
  };
}

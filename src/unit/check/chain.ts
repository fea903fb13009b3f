import { equal, toHex } from '../../bytes/index.ts';
import type { CborItem } from '../../cbor/index.ts';
import { type Headers, LABEL } from '../../cose/index.ts';
import { sha256 } from '../../crypto/index.ts';
import { type Certificate, DerError, parseCertificate, X509Error } from '../../x509/index.ts';
import { UNIT_LIMITS } from '../limits.ts';
import { DIGEST_ALGORITHM } from '../profiles.ts';
import type { Trace } from '../trace.ts';

const SOURCE = 'RFC 9360 2; docs/deployment-profile.md';
const MAXIMUM_CERTIFICATES = UNIT_LIMITS.certificates.value;

/**
 * The certificates that came with a signature, the signer's first, and proof that the signature itself names the
 * first one: x5chain is protected, or a protected x5t has its SHA-256 (RFC 9360 section 2). Whether they are to be
 * trusted is another question.
 */
export function readBoundChain(trace: Trace, headers: Headers): Certificate[] {
  const item = headers.get(LABEL.x5chain);
  if (!item) {
    trace.refuse('signer-missing', {
      what: 'certificates that come with the signature',
      expected: 'an x5chain header',
      found: 'none',
      source: SOURCE,
    });
  }
  const certificates = bytesOf(item);
  judgeBinding(trace, headers, certificates[0]!);
  trace.require(certificates.length <= MAXIMUM_CERTIFICATES, 'signer-chain-malformed', {
    what: 'number of certificates',
    expected: `at most ${MAXIMUM_CERTIFICATES}`,
    found: certificates.length,
    source: SOURCE,
  });
  return certificates.map((der, index) => readCertificate(trace, der, index));
}

/** COSE_X509: one byte string, or an array of two and more; the reader has checked the shape (RFC 9360 section 2). */
function bytesOf(item: CborItem): Uint8Array[] {
  if (item.type === 'bytes') return [item.value];
  const items = item.type === 'array' ? item.items : [];
  return items.flatMap((each) => (each.type === 'bytes' ? [each.value] : []));
}

function judgeBinding(trace: Trace, headers: Headers, leaf: Uint8Array): void {
  const what = 'certificate that the signature names';
  const thumbprint = headers.protectedGet(LABEL.x5t);
  if (thumbprint?.type === 'array') {
    const [algorithm, hash] = thumbprint.items;
    const named = hash?.type === 'bytes' ? hash.value : new Uint8Array();
    const digest = sha256(leaf);
    const isSha256 = algorithm?.type === 'nint' && algorithm.value === DIGEST_ALGORITHM;
    trace.require(isSha256 && equal(named, digest), 'signer-thumbprint-wrong', {
      what,
      expected: () => `SHA-256 ${toHex(named)}`,
      found: digest,
      source: SOURCE,
    });
    return;
  }
  trace.require(headers.protectedGet(LABEL.x5chain) !== undefined, 'signer-not-bound', {
    what,
    expected: 'x5t, or x5chain itself, in the protected header',
    found: headers.protectedGet(LABEL.x5chain) ? 'x5chain is protected' : 'an unprotected x5chain alone',
    source: SOURCE,
  });
}

function readCertificate(trace: Trace, der: Uint8Array, index: number): Certificate {
  try {
    return parseCertificate(der);
  } catch (error) {
    if (!(error instanceof DerError || error instanceof X509Error)) throw error;
    return trace.refuse('signer-chain-malformed', {
      what: `certificate ${index}, counted from the signer's`,
      expected: 'a certificate in DER',
      found: error.message,
      source: 'RFC 5280 4.1',
    });
  }
}

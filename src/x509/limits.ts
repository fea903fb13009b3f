import type { LimitTable } from '../bytes/index.ts';

/** What is read of certificates, requests, lists and the DER under them. */
export const X509_LIMITS = {
  derSize: {
    value: 65_536,
    unit: 'bytes',
    reason: 'what the keys room reads; certificates and lists have bounds of their own',
  },
  derDepth: {
    value: 16,
    unit: 'levels',
    reason: 'our own certificates and requests nest ten deep, what stands inside strings included',
  },
  certificateSize: {
    value: 16_384,
    unit: 'bytes',
    reason: 'one of a P-256 signer has about 470; one signed by HSS/LMS with W1 about 10,000',
  },
  requestSize: {
    value: 16_384,
    unit: 'bytes',
    reason: 'as for a certificate',
  },
  crlSize: {
    value: 4_194_304,
    unit: 'bytes',
    reason: 'some hundred thousand entries, more than a maker has signers',
  },
  serialSize: {
    value: 20,
    unit: 'bytes',
    reason: 'RFC 5280 section 4.1.2.2',
  },
  names: {
    value: 256,
    unit: 'names',
    reason: 'each name of an extension is compared with each constraint above it',
  },
  pathLength: {
    value: 8,
    unit: 'certificates',
    reason: 'each costs a signature, and the trade needs three',
  },
} as const satisfies LimitTable;

/** Object identifiers by the names their standards give them. */
export const OID = {
  // RFC 5280 section 4.2.1 and 5.2
  subjectKeyIdentifier: '2.5.29.14',
  keyUsage: '2.5.29.15',
  subjectAltName: '2.5.29.17',
  basicConstraints: '2.5.29.19',
  cRLNumber: '2.5.29.20',
  reasonCode: '2.5.29.21',
  invalidityDate: '2.5.29.24',
  nameConstraints: '2.5.29.30',
  certificatePolicies: '2.5.29.32',
  anyPolicy: '2.5.29.32.0',
  policyMappings: '2.5.29.33',
  authorityKeyIdentifier: '2.5.29.35',
  policyConstraints: '2.5.29.36',
  extKeyUsage: '2.5.29.37',
  inhibitAnyPolicy: '2.5.29.54',
  // RFC 5280 section 4.2.1.12
  codeSigning: '1.3.6.1.5.5.7.3.3',
  anyExtendedKeyUsage: '2.5.29.37.0',
  // RFC 2985 section 5.4.2
  extensionRequest: '1.2.840.113549.1.9.14',
  emailAddress: '1.2.840.113549.1.9.1',
  // RFC 5758 section 3.2, RFC 8410 section 3
  ecdsaWithSha256: '1.2.840.10045.4.3.2',
  ed25519: '1.3.101.112',
  // id-alg-hss-lms-hashsig, RFC 9708 section 4 and RFC 9802
  hssLms: '1.2.840.113549.1.9.16.3.17',
  /**
   * Our own extension: the signer's generation, an INTEGER from 0. The identifier is the random UUID
   * 0f185827-22bd-4c1c-a94c-4f393aa0a932 in seven arcs of 16 and 24 bits, under an arc whose owner set it aside for
   * identifiers made from UUIDs (from memory). RFC 5280 Appendix B asks readers for arcs below 2^28 only, and some reject
   * the one arc of 128 bits under 2.25.
   */
  signerGeneration: '1.2.840.113556.1.8000.2554.3864.22567.8893.19484.43340.5191994.10529074',
  /** Our own as well: the signer's role, a UTF8String. UUID 329fcf97-f11f-4ce7-a5ae-a4f7c42efc9c in the same way. */
  signerRole: '1.2.840.113556.1.8000.2554.12959.53143.61727.19687.42414.10811332.3079324',
  /** Our own purpose, for extKeyUsage: signing trust updates and nothing else. UUID caf83f18-6e92-4127-96a4-aa76e9e0d362. */
  trustUpdate: '1.2.840.113556.1.8000.2554.51960.16152.28306.16679.38564.11171561.14734178',
  /** Likewise: signing announcements and nothing else. UUID 8b28c0e3-412c-4f59-a05d-3299d015ef3d. */
  announcement: '1.2.840.113556.1.8000.2554.35624.49379.16684.20313.41053.3316176.1437501',
} as const;

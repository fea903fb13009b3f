/**
 * What a unit is prepared to take in before anything is authenticated (RFC 9124 section 4.3.21; trade practice:
 * a parser's bounds are stated, not discovered). Sizes in bytes. Every bound is far above what a release of this
 * product needs and far below what would strain a small device's management side.
 */
export const SUIT_LIMITS = {
  /** Elements of the envelope: the drafts define eight, the rest are integrated payloads. */
  envelopeEntries: 32,
  /** Digest and blocks: three certificates, a hash-based signature and one MAC for each of many cohorts. */
  wrapperSize: 65_536,
  /** Authentication blocks: a signature for each authority, or a MAC for each cohort. */
  blocks: 512,
  /** The published examples stay below 300; a manifest must be held in protected memory while it runs. */
  manifestSize: 65_536,
  /** A severed element: text in several languages is the largest. */
  severedSize: 262_144,
  /** Key of an integrated payload, a URI reference. */
  payloadKeySize: 512,
  /** Components of one manifest. */
  components: 64,
  /** Segments of one component identifier. */
  componentSegments: 16,
  /** Sequences inside sequences: the A/B template needs one level. */
  sequenceDepth: 8,
  /** Commands of one manifest, nested and severed sequences included. */
  commands: 2_048,
  /** Data items in one wrapped structure. */
  items: 8_192,
  /** Content of one write directive: "10's of bytes" ([M] section 8.4.8.9), with room. */
  contentSize: 4_096,
  /** Commands that one procedure may execute: loops over components multiply (section 6.5). */
  steps: 20_000,
  /** Manifests inside manifests: an author's, under an operator's, under a distributor's, and one to spare. */
  dependencyDepth: 4,
  /** Dependencies that one procedure may have checked: each check costs a signature and memory for a manifest. */
  dependencyChecks: 64,
} as const;

export type SuitLimits = { readonly [K in keyof typeof SUIT_LIMITS]: number };

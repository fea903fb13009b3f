import { type LimitTable, limitValues } from '../bytes/index.ts';

/**
 * What a unit is prepared to take in before anything is authenticated (RFC 9124 section 4.3.21; trade practice:
 * a parser's bounds are stated, not discovered). Sizes in bytes. Every bound is far above what a release of this
 * product needs and far below what would strain a small device's management side.
 */
export const SUIT_LIMIT_TABLE = {
  envelopeEntries: {
    value: 32,
    unit: 'elements',
    reason: 'the drafts define eight, the rest are integrated payloads',
  },
  wrapperSize: {
    value: 65_536,
    unit: 'bytes',
    reason:
      'digest and blocks: three certificates, a hash-based signature and one MAC for each of many cohorts',
  },
  blocks: {
    value: 512,
    unit: 'blocks',
    reason: 'a signature for each authority, or a MAC for each cohort',
  },
  manifestSize: {
    value: 65_536,
    unit: 'bytes',
    reason:
      'the published examples stay below 300; a manifest must be held in protected memory while it runs',
  },
  severedSize: {
    value: 262_144,
    unit: 'bytes',
    reason: 'of one severed element: text in several languages is the largest',
  },
  payloadKeySize: {
    value: 512,
    unit: 'bytes',
    reason:
      'of the key of an integrated payload, a URI reference; keys are read before anything is authenticated',
  },
  components: {
    value: 64,
    unit: 'components',
    reason: 'of one manifest: a unit has one or two; each may have a procedure of its own run over it',
  },
  componentSegments: {
    value: 16,
    unit: 'segments',
    reason:
      'of one component identifier: a path of two or three names is usual, and identifiers are compared pairwise',
  },
  sequenceDepth: {
    value: 8,
    unit: 'levels',
    reason: 'of sequences inside sequences: the A/B template needs one level',
  },
  commands: {
    value: 2_048,
    unit: 'commands',
    reason: 'of one manifest, nested and severed sequences included: the templates need about thirty',
  },
  items: {
    value: 8_192,
    unit: 'items',
    reason:
      'data items in one wrapped structure: four for each command allowed; each costs memory before it is understood',
  },
  contentSize: {
    value: 4_096,
    unit: 'bytes',
    reason: 'content of one write directive: "10\'s of bytes" ([M] section 8.4.8.9), with room',
  },
  steps: {
    value: 20_000,
    unit: 'commands',
    reason:
      'that one procedure may execute, which bounds its time: loops over components multiply (section 6.5)',
  },
  dependencyDepth: {
    value: 4,
    unit: 'levels',
    reason:
      "manifests inside manifests: an author's, under an operator's, under a distributor's, and one to spare",
  },
  dependencyChecks: {
    value: 64,
    unit: 'checks',
    reason:
      'dependencies that one procedure may have checked: each check costs a signature and memory for a manifest',
  },
} as const satisfies LimitTable;

export const SUIT_LIMITS = limitValues(SUIT_LIMIT_TABLE);

export type SuitLimits = typeof SUIT_LIMITS;

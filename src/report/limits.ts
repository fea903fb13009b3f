import { type LimitTable, limitValues } from '../bytes/index.ts';

/** Bounds on a report that a stranger sends; each is far above what a unit has to say, and keeps work small. */
export const REPORT_LIMIT_TABLE = {
  messageSize: {
    value: 65_536,
    unit: 'bytes',
    reason: 'of a whole message: a report is a few hundred, and travels over thin links',
  },
  items: {
    value: 8192,
    unit: 'items',
    reason: 'of CBOR: a record takes about ten',
  },
  records: {
    value: 256,
    unit: 'records',
    reason: 'records and claims in one report: far more than one procedure has to say',
  },
  nonceSize: {
    value: 256,
    unit: 'bytes',
    reason: 'RFC 9711 section 4.1 has 64 at most; others may send longer ones',
  },
  manifestDepth: {
    value: 16,
    unit: 'levels',
    reason: 'of the walk down a tree of manifests: units here go down four; other makers may go deeper',
  },
  capabilities: {
    value: 512,
    unit: 'entries',
    reason: 'of one list of a capability report: all registered codes of any kind fit several times',
  },
} as const satisfies LimitTable;

export const REPORT_LIMITS = limitValues(REPORT_LIMIT_TABLE);

/** Bytes of a challenge that units take: RFC 9711 section 4.1 (64 bits of entropy at least). */
export const NONCE_SIZE = { least: 8, most: 64 } as const;

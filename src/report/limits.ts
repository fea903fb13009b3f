/** Bounds on a report that a stranger sends; each is far above what a unit has to say, and keeps work small. */
export const REPORT_LIMITS = {
  /** Bytes of a whole message: a report is a few hundred, and travels over thin links. */
  messageSize: 65_536,
  /** CBOR items: a record takes about ten. */
  items: 8192,
  /** Records and claims in one report. */
  records: 256,
  /** Bytes of a nonce: RFC 9711 section 4.1 has 64 at most; others may send longer ones. */
  nonceSize: 256,
  /** Steps of the walk down a tree of manifests. */
  manifestDepth: 16,
  /** Entries of one list of a capability report. */
  capabilities: 512,
} as const;

/** Bytes of a challenge that units take: RFC 9711 section 4.1 (64 bits of entropy at least). */
export const NONCE_SIZE = { least: 8, most: 64 } as const;

/** Hollin Ridge's reports, for tests. */
import { fromHex, fromUtf8 } from '../../src/bytes/index.ts';
import type { KnownRelease, PropertyClaim, SuitRecord, SuitReport } from '../../src/report/index.ts';
import type { Parameters } from '../../src/suit/index.ts';

export const DIGEST = fromHex('11'.repeat(32));
export const IMAGE = fromHex('22'.repeat(32));
export const DEVICE = fromHex('0b0f5e0a3a0e5b8e9d5f3a2d4d8a1c11');
export const CLASS = fromHex('c08f14d6a43a533a9da439d2a9c63952');
export const URI = 'urn:uuid:5e2a5b5c-7d0f-5d55-9a3e-0d7d5a3c1b11';

export const parameters = (...entries: [number, unknown][]) => new Map(entries) as unknown as Parameters;

export const RECORD: SuitRecord = {
  kind: 'record',
  manifestId: [],
  section: 20,
  offset: 12,
  component: 0,
  properties: parameters([3, { algorithm: -16, bytes: IMAGE }]),
};

export const CLAIM: PropertyClaim = {
  kind: 'claim',
  component: [fromUtf8('main')],
  properties: parameters([3, { algorithm: -16, bytes: IMAGE }], [5, 1], [14, 20_000]),
};

export const SUCCESS: SuitReport = {
  reference: { uri: URI, digest: { algorithm: -16, bytes: DIGEST } },
  records: [CLAIM],
  result: true,
};

export const FAILED: SuitReport = {
  ...SUCCESS,
  nonce: fromHex('8f1c0b6ae24d97531e60a4c2b8d7f913'),
  records: [],
  result: { code: 902, record: RECORD, reason: 10 },
  capabilities: {
    components: [{ identifier: [fromUtf8('main')], prefix: false }],
    lists: [
      { key: 2, codes: [1, 2, 3] },
      { key: 3, codes: [1, 2] },
      { key: 4, codes: [-16, -9] },
      { key: [3, 3, 1], codes: [3] },
    ],
  },
};

/** The release that the reports are about, as it was sealed. */
export const RELEASE: KnownRelease = {
  className: 'vent',
  sequenceNumber: 7n,
  version: '1.4.0',
  referenceUri: URI,
  imageDigests: [IMAGE],
};

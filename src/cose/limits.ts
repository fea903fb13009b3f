import type { LimitTable } from '../bytes/index.ts';

/** What is read of an encrypted message; signed ones keep to the bounds of CBOR. */
export const COSE_LIMITS = {
  recipients: {
    value: 2_048,
    unit: 'recipients',
    reason: 'a manifest of 64 KiB has room for some 1700 of the smallest',
  },
  itemsEach: {
    value: 16,
    unit: 'items',
    reason: 'a recipient has no more in the forms known here, and the layer above it has as many again',
  },
  derivationContext: {
    value: 1_024,
    unit: 'bytes',
    reason: 'the HKDF of node:crypto takes no more; a recipient in the forms known here has some 50',
  },
} as const satisfies LimitTable;

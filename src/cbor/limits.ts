import type { LimitTable } from '../bytes/index.ts';

/** What the decoder takes unless a caller says otherwise; a length in a head is compared with the bytes that are left before anything is set aside for it. */
export const CBOR_LIMITS = {
  depth: {
    value: 16,
    unit: 'levels',
    reason:
      'wrapped structures are read one by one and none of the drafts comes near; recursion stays far from the end of the stack',
  },
  items: {
    value: 4_096,
    unit: 'items',
    reason: 'an item takes many times its bytes in memory; callers with larger messages give a larger figure',
  },
} as const satisfies LimitTable;

import type { LimitTable } from '../bytes/index.ts';

/** What a unit looks at before it knows who sealed, and what it remembers. */
export const UNIT_LIMITS = {
  certificates: {
    value: 8,
    unit: 'certificates',
    reason: 'that come with one signature: work that nobody has authenticated yet',
  },
  signatures: {
    value: 8,
    unit: 'signatures',
    reason:
      'whose signers are looked at: each costs as many verifications as its chain is long, and nobody has authenticated it yet',
  },
  demands: {
    value: 8,
    unit: 'signers',
    reason: 'that a policy asks for: as many as signatures are looked at',
  },
  rights: {
    value: 32,
    unit: 'rows',
    reason:
      'of an access control list, and components in each: a record is small, and each row is gone through',
  },
  denied: {
    value: 64,
    unit: 'keys',
    reason:
      'that one trust update denies: both halves of a small policy area hold them; a generation denies many at once',
  },
  roots: {
    value: 8,
    unit: 'roots',
    reason: 'that one trust update retires: as many as a unit holds',
  },
  dependencies: {
    value: 8,
    unit: 'manifests',
    reason: 'that one release depends on, directly or not: each costs a signature, and its envelope is kept',
  },
  messageBytes: {
    value: 64 << 20,
    unit: 'bytes',
    reason:
      'of an encrypted message: it is held in memory as a whole until it is decrypted; a large image goes beside it',
  },
  slots: {
    value: 16,
    unit: 'slots',
    reason: 'assumed in turn when no unit is at hand: a manifest may ask about many',
  },
  fallen: {
    value: 4,
    unit: 'manifests',
    reason: 'that fell back and are remembered: with two slots few can fall back between two that are kept',
  },
  tries: {
    value: 255,
    unit: 'tries',
    reason: 'that are counted of one that fell back: one byte; the record allows 100 at most',
  },
} as const satisfies LimitTable;

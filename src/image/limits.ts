import type { LimitTable } from '../bytes/index.ts';

/** What is read of image files. Raw and ELF images are not held in memory and have no bound of size but their slot. */
export const IMAGE_LIMITS = {
  textData: {
    value: 256 * 2 ** 20,
    unit: 'bytes',
    reason: 'data of a text format is decoded in memory; larger images come as raw or ELF',
  },
  textPerByte: {
    value: 64,
    unit: 'characters',
    reason:
      'no sensible writer needs more for a byte of data: one-byte records, each with its own base record',
  },
  textAllowance: {
    value: 65_536,
    unit: 'characters',
    reason: 'headers and end records of a file with little data',
  },
  runs: {
    value: 262_144,
    unit: 'pieces',
    reason: 'separate pieces of data; each costs memory beside its bytes',
  },
  programHeaders: {
    value: 65_535,
    unit: 'headers',
    reason: 'counts from here on are kept elsewhere in the file (PN_XNUM); no firmware has so many',
  },
  sections: {
    value: 65_280,
    unit: 'sections',
    reason: 'counts from here on are kept elsewhere in the file (SHN_LORESERVE); no firmware has so many',
  },
  components: {
    value: 4,
    unit: 'components',
    reason: 'of a unit beside the image that runs: each has two areas, and every release brings them all',
  },
} as const satisfies LimitTable;

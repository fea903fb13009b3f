/** Where in the image file (line, record, byte offset) or in the address space something was found. */
export interface ImageWhere {
  /** Line of a text file, counted from 1. */
  line?: number;
  /** Record of a text file, counted from 1; program header of an ELF file, counted from 0. */
  record?: number;
  /** Byte offset in the file. */
  offset?: number;
  /** Address in the device's address space. */
  address?: number;
}

interface Explanation {
  /** What it means for the engineer. */
  means: string;
  /** What to do next. */
  next: string;
}

const REBUILD = 'Make the file again with your linker or object converter.';
const TRANSFER = 'Fetch or copy the file again and compare its length and digest with the build.';
const LINK = 'Compare the linker script with the memory map of the class.';

/** One row per refusal: the closed list of what can be wrong with an image, its meaning and the next step. */
const EXPLANATIONS = {
  empty: { means: 'There is no firmware in it.', next: 'Give the file that your build produced.' },
  'no-data': { means: 'Nothing would be written to a unit.', next: LINK },
  'wrong-kind': {
    means: 'It is not a firmware image of the kind asked for.',
    next: 'Give the right file, or name its format explicitly if it is firmware after all.',
  },
  'too-large': { means: 'It cannot be installed.', next: 'Make the image smaller, or choose a larger slot.' },
  'too-scattered': { means: 'It is hardly a firmware image.', next: REBUILD },
  'line-too-long': { means: 'No record of this format has such a length.', next: REBUILD },
  'bad-start': { means: 'The line is not a record of this format.', next: REBUILD },
  'bad-digit': { means: 'The record is damaged.', next: TRANSFER },
  'bad-length': { means: 'The record has lost or gained characters.', next: TRANSFER },
  'bad-checksum': { means: 'The record is damaged.', next: TRANSFER },
  'bad-field': { means: 'The record does not have the form its type requires.', next: REBUILD },
  'unknown-record': {
    means: 'What it stands for is not defined, so it is not skipped either.',
    next: REBUILD,
  },
  'repeated-record': { means: 'Two files may have been joined into one.', next: REBUILD },
  'record-order': { means: 'Two files may have been joined into one.', next: REBUILD },
  'mixed-formats': { means: 'Two files may have been joined into one.', next: REBUILD },
  'mixed-addressing': {
    means: 'Readers of this format disagree on the address that follows.',
    next: 'Write the file with extended linear addresses (type 04) only.',
  },
  'mixed-widths': { means: 'A record type may be damaged: no checksum covers it.', next: TRANSFER },
  'address-wrap': {
    means: 'Readers of this format disagree on where the bytes behind the end go.',
    next: REBUILD,
  },
  'wrong-count': { means: 'Records are missing or were added.', next: TRANSFER },
  'missing-end': { means: 'The file may be cut short.', next: TRANSFER },
  'after-end': { means: 'It would be ignored by some readers and used by others.', next: REBUILD },
  truncated: { means: 'The file is cut short.', next: TRANSFER },
  overlap: { means: 'Which of the two is meant cannot be known.', next: LINK },
  'elf-header': { means: 'The ELF file is damaged or of an unknown kind.', next: REBUILD },
  'elf-type': { means: 'It cannot run on a unit as it is.', next: 'Give the linked executable.' },
  'elf-segment': { means: 'The ELF file is damaged.', next: REBUILD },
  'elf-section': { means: 'The ELF file is damaged.', next: REBUILD },
  'elf-machine': { means: 'It was built for another processor.', next: 'Give the build for this class.' },
  'outside-slot': {
    means: 'It would never reach a unit.',
    next: `${LINK} Data that is meant to stay behind needs a named range to leave out.`,
  },
  'wrong-slot': {
    means: 'It would not run from the slot it is meant for.',
    next: 'Give the build that was linked for this slot.',
  },
  'unknown-slot': { means: 'The image cannot be placed.', next: 'Name a slot of the class.' },
  'vector-table': {
    means: 'The processor takes its stack pointer and its first instruction from there.',
    next: LINK,
  },
  'stack-pointer': { means: 'The first push would fault.', next: LINK },
  'reset-vector': { means: 'The processor would start somewhere else.', next: LINK },
  'thumb-bit': {
    means: 'The processor would fault on its first instruction.',
    next: 'Declare the reset handler as a Thumb function.',
  },
  'bad-size': {
    means: 'The size is not understood.',
    next: 'Write for example 256KiB, 2GiB, 262144 or 0x40000.',
  },
} as const satisfies Record<string, Explanation>;

/** Closed list of image refusals. */
export type ImageErrorCode = keyof typeof EXPLANATIONS;

/** Every code, for documents and for a test that each of them is raised. */
export const IMAGE_ERROR_CODES = Object.keys(EXPLANATIONS) as ImageErrorCode[];

/**
 * Why an image file or its placement was refused. `message` says what happened and where, what it means and
 * what to do next; `says`, `means` and `next` are its parts.
 */
export class ImageError extends Error {
  override readonly name = 'ImageError';
  readonly means: string;
  readonly next: string;
  readonly line: number | undefined;
  readonly record: number | undefined;
  readonly offset: number | undefined;
  readonly address: number | undefined;

  constructor(
    readonly code: ImageErrorCode,
    readonly says: string,
    where: ImageWhere = {},
    next?: string,
  ) {
    const explanation = EXPLANATIONS[code];
    const advice = next ?? explanation.next;
    super(`${placeText(where)}${says}. ${explanation.means} ${advice}`);
    this.means = explanation.means;
    this.next = advice;
    this.line = where.line;
    this.record = where.record;
    this.offset = where.offset;
    this.address = where.address;
  }
}

function placeText({ line, record }: ImageWhere): string {
  if (line !== undefined)
    return record === undefined ? `line ${line}: ` : `line ${line} (record ${record}): `;
  return record === undefined ? '' : `program header ${record}: `;
}

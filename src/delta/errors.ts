interface Explanation {
  /** What it means for the engineer. */
  means: string;
  /** What to do next. */
  next: string;
}

const TRANSFER = 'Fetch or copy the delta again and compare its length and digest with the release.';
const REBUILD = 'Make the delta again.';
const PLAIN = 'Make the delta as plain RFC 3284: no secondary compression, no header data, no checksums.';
const SMALLER = 'Make the delta with smaller windows, or send the full image.';

/** One row per refusal: the closed list of what can be wrong with a delta, its meaning and the next step. */
const EXPLANATIONS = {
  'not-vcdiff': { means: 'It is not a delta of RFC 3284.', next: 'Give the delta file of the release.' },
  'unknown-version': { means: 'Only version 0 is published (RFC 3284 section 4.1).', next: PLAIN },
  'secondary-compression': { means: 'A unit has no second decompressor for it.', next: PLAIN },
  'custom-code-table': { means: 'Only the default code table (section 5.6) is read.', next: PLAIN },
  'application-header': { means: 'RFC 3284 does not define it, so it is not skipped.', next: PLAIN },
  'window-checksum': { means: 'RFC 3284 does not define it, so it is not skipped.', next: PLAIN },
  'bad-indicator': { means: 'RFC 3284 does not define such a combination of bits.', next: REBUILD },
  truncated: { means: 'The delta is cut short or damaged.', next: TRANSFER },
  'integer-too-large': { means: 'No size or address of an image needs it.', next: TRANSFER },
  'section-lengths': { means: 'The delta is damaged.', next: TRANSFER },
  'too-large': { means: 'It is beyond what may be set aside for it.', next: SMALLER },
  'too-many-windows': { means: 'It is hardly a delta of a firmware image.', next: REBUILD },
  'outside-precursor': {
    means: 'The delta was made against another image.',
    next: 'Apply it to the image it was made against, or send the full image.',
  },
  'outside-target': { means: 'It would copy bytes that do not exist yet.', next: REBUILD },
  'no-read-back': {
    means: 'The delta copies from the image being written, which cannot be read back here.',
    next: 'Make the delta without windows that copy from earlier windows of the target.',
  },
  'bad-address': { means: 'It would copy bytes that do not exist yet.', next: TRANSFER },
  'crossing-copy': {
    means: 'A copy lies wholly in the source segment or wholly in the target window (section 3).',
    next: REBUILD,
  },
  'window-overrun': { means: 'The delta is damaged.', next: TRANSFER },
  'window-short': { means: 'The delta is damaged.', next: TRANSFER },
  'left-over': { means: 'Bytes that no instruction uses are not ignored.', next: REBUILD },
  'wrong-size': {
    means: 'The delta does not make the image that the release names.',
    next: 'Give the delta that belongs to this release.',
  },
} as const satisfies Record<string, Explanation>;

/** Closed list of delta refusals. */
export type DeltaErrorCode = keyof typeof EXPLANATIONS;

/** Every code, for documents and for a test that each of them is raised. */
export const DELTA_ERROR_CODES = Object.keys(EXPLANATIONS) as DeltaErrorCode[];

/**
 * Why a delta was refused. `message` says what happened and where, what it means and what to do next; `says`,
 * `means` and `next` are its parts; `offset` is the byte of the delta where it was found.
 */
export class DeltaError extends Error {
  override readonly name = 'DeltaError';
  readonly means: string;
  readonly next: string;

  constructor(
    readonly code: DeltaErrorCode,
    readonly says: string,
    readonly offset: number | undefined = undefined,
  ) {
    const { means, next } = EXPLANATIONS[code];
    super(`${offset === undefined ? '' : `byte ${offset}: `}${says}. ${means} ${next}`);
    this.means = means;
    this.next = next;
  }
}

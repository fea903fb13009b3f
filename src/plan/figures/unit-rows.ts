import type { BuiltIn, FigureRow } from './figure.ts';

type Row = FigureRow & { readonly value: BuiltIn };

const row = (unit: string, least: number, most: number, about: string, ...value: BuiltIn): Row => ({
  unit,
  least,
  most,
  about,
  value,
});

const BENCHMARK = 'microcontroller benchmarks published with a general-purpose C crypto library';

/**
 * Every figure of a unit, with the value taken where nobody entered one. Between builds on the same core lies a factor
 * of ten, so the slow one stands here: enter what you measured.
 */
export const UNIT_ROWS = {
  esp256_verify: row(
    'ms',
    0,
    1e6,
    'one P-256 verification',
    594,
    'published',
    `${BENCHMARK}: Cortex-M4 at 64 MHz, portable C`,
  ),
  ed25519_verify: row(
    'ms',
    0,
    1e6,
    'one Ed25519 verification',
    2936,
    'published',
    'a university’s draft comparison of ECC libraries: Cortex-M3 at 72 MHz, minimal portable C',
  ),
  hss_lms_verify: row(
    'ms',
    0,
    1e6,
    'one HSS/LMS verification',
    570,
    'computed',
    'number of hashes for W8 times the SHA-256 rate of a Cortex-M0+ at 64 MHz',
  ),
  hash_rate: row('B/s', 1, 1e10, 'SHA-256', 477_000, 'published', `${BENCHMARK}: Cortex-M0+ at 64 MHz`),
  cipher_rate: row(
    'B/s',
    1,
    1e10,
    'AES-CTR',
    150_000,
    'from memory',
    'small software AES on a Cortex-M0+ at 64 MHz',
  ),
  compute_current: row('mA', 0, 10_000, 'current while computing', 8, 'from memory', 'typical data sheets'),
  erase_time: row(
    'ms',
    0,
    1e6,
    'erasing one page',
    85,
    'from memory',
    'internal flash, typical data sheets: 20 to 90 ms',
  ),
  program_time: row(
    'us',
    0,
    1e6,
    'programming one write unit',
    41,
    'from memory',
    'internal flash, typical data sheets: 40 to 100 us for 4 to 8 bytes',
  ),
  flash_current: row(
    'mA',
    0,
    10_000,
    'current while erasing or programming',
    8,
    'from memory',
    'typical data sheets',
  ),
  supply: row('V', 0.5, 60, 'supply of the microcontroller', 3, 'from memory', 'two cells, nominal'),
  cell: row('mWh', 0.001, 1e12, 'energy of a full cell', 9_000, 'from memory', 'one lithium AA primary cell'),
  retries: row(
    '',
    0,
    100,
    'whole retries that the cell must still have room for',
    1,
    'common practice',
    'one',
  ),
} as const satisfies Record<string, Row>;

export type UnitFigure = keyof typeof UNIT_ROWS;

/** What a delta is taken for while none has been made. */
export const DELTA_ROWS = {
  delta_share: row(
    '',
    0,
    2,
    'size of a delta, as a share of the image',
    0.3,
    'common practice',
    'small fixes: 5 to 30 %; name the running release to have it made and measured',
  ),
  delta_manifest: row(
    'B',
    0,
    10_000,
    'what the precursor adds to the manifest',
    60,
    'computed',
    'digest, size and component index of the precursor',
  ),
} as const satisfies Record<string, Row>;

export type DeltaFigure = keyof typeof DELTA_ROWS;

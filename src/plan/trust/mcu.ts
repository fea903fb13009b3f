import { type DeviceClass, WorkspaceError } from '../../workspace/index.ts';
import type { UnitFigures } from '../figures/book.ts';
import type { BuiltIn, Figure } from '../figures/figure.ts';
import type { UnitFigure } from '../figures/unit-rows.ts';

const B1 = 'microcontroller benchmarks published with a general-purpose C crypto library';
const B2 = 'read-me of an open P-256 library in Cortex-M4 assembly';
const B4 = 'a university’s draft comparison of ECC libraries';

type McuRow = Partial<Record<UnitFigure, BuiltIn>>;

/** Published verify times and hash rates by core, clock and build. A factor of ten lies between builds on one core. */
const PUBLISHED: Readonly<Record<string, McuRow>> = {
  'cortex-m0plus-64-assembly': {
    esp256_verify: [349, 'published', `${B1}: Cortex-M0+ at 64 MHz, small assembly`],
    hash_rate: [477_000, 'published', `${B1}: Cortex-M0+ at 64 MHz`],
    hss_lms_verify: [
      570,
      'computed',
      'number of hashes for W8 times the SHA-256 rate of a Cortex-M0+ at 64 MHz',
    ],
  },
  'cortex-m4-64-portable': {
    esp256_verify: [594, 'published', `${B1}: Cortex-M4 at 64 MHz, portable C`],
    hash_rate: [614_400, 'published', `${B1}: Cortex-M4 at 64 MHz`],
    hss_lms_verify: [
      450,
      'computed',
      'number of hashes for W8 times the SHA-256 rate of a Cortex-M4 at 64 MHz',
    ],
  },
  'cortex-m4-64-assembly': {
    esp256_verify: [61, 'published', `${B1}: Cortex-M4 at 64 MHz, assembly`],
    hash_rate: [614_400, 'published', `${B1}: Cortex-M4 at 64 MHz`],
    hss_lms_verify: [
      450,
      'computed',
      'number of hashes for W8 times the SHA-256 rate of a Cortex-M4 at 64 MHz',
    ],
  },
  'cortex-m4-64-hand-tuned': {
    esp256_verify: [15.3, 'published', `${B2}: Cortex-M4 at 64 MHz, 976 k cycles`],
    hash_rate: [614_400, 'published', `${B1}: Cortex-M4 at 64 MHz`],
  },
  'cortex-m4-80-assembly': {
    esp256_verify: [94, 'published', `${B1}: Cortex-M4 at 80 MHz, small assembly`],
    ed25519_verify: [36.6, 'published', `${B1}: Cortex-M4 at 80 MHz`],
    hash_rate: [7_444_890, 'published', `${B1}: Cortex-M4 at 80 MHz, accelerated`],
  },
  'cortex-m4-160-assembly': {
    esp256_verify: [26.7, 'published', `${B1}: Cortex-M4 at 160 MHz, assembly`],
    hash_rate: [2_600_000, 'published', `${B1}: Cortex-M4 at 160 MHz, software`],
  },
  'cortex-m4-160-portable': {
    esp256_verify: [273, 'published', `${B1}: Cortex-M4 at 160 MHz, portable C`],
    hash_rate: [2_600_000, 'published', `${B1}: Cortex-M4 at 160 MHz, software`],
  },
  'cortex-m33-160-assembly': {
    esp256_verify: [28.3, 'published', `${B1}: Cortex-M33 at 160 MHz, assembly`],
    hash_rate: [2_000_000, 'published', `${B1}: Cortex-M33 at 160 MHz, software`],
  },
  'cortex-m33-160-portable': {
    esp256_verify: [299, 'published', `${B1}: Cortex-M33 at 160 MHz, portable C`],
    hash_rate: [2_000_000, 'published', `${B1}: Cortex-M33 at 160 MHz, software`],
  },
  'cortex-m3-72-small-c': {
    esp256_verify: [167, 'published', `${B4}: Cortex-M3 at 72 MHz, small C with inline assembly`],
    ed25519_verify: [2936, 'published', `${B4}: Cortex-M3 at 72 MHz, minimal portable C`],
  },
  'cortex-m4-180-small-c': {
    esp256_verify: [52, 'published', `${B4}: Cortex-M4 at 180 MHz, small C with inline assembly`],
    ed25519_verify: [692, 'published', `${B4}: Cortex-M4 at 180 MHz, minimal portable C`],
  },
  'cortex-m7-480-assembly': {
    esp256_verify: [3.5, 'published', `${B1}: Cortex-M7 at 480 MHz, assembly`],
    ed25519_verify: [1.16, 'published', `${B1}: Cortex-M7 at 480 MHz`],
    hash_rate: [18_874_368, 'published', `${B1}: Cortex-M7 at 480 MHz`],
  },
};

/** Names of the cores with published figures. */
export const PUBLISHED_MCUS: readonly string[] = Object.keys(PUBLISHED);

/**
 * Figures of a class's units: what was entered, else what is published for the core that its file names, else the slow
 * built-in ones. Throws `WorkspaceError` wrong-value for a core that nothing is published of here.
 */
export function unitFiguresOf(
  { name, plan }: Pick<DeviceClass, 'name' | 'plan'>,
  base: UnitFigures,
): UnitFigures {
  if (plan.mcu === undefined) return base;
  const row = Object.hasOwn(PUBLISHED, plan.mcu) ? PUBLISHED[plan.mcu] : undefined;
  if (!row) {
    throw new WorkspaceError(
      'wrong-value',
      `classes/${name}.yaml: no figures are on file for the core ${plan.mcu}`,
      {
        hint: `known are ${PUBLISHED_MCUS.join(', ')}; enter measured figures in figures.yaml for any other`,
      },
    );
  }
  return Object.fromEntries(
    Object.entries(base).map(([key, figure]) => [key, chosen(figure, row[key as UnitFigure])]),
  ) as UnitFigures;
}

function chosen(figure: Figure, published: BuiltIn | undefined): Figure {
  if (!published || figure.source === 'entered') return figure;
  const [value, source, origin] = published;
  return { value, unit: figure.unit, source, origin };
}

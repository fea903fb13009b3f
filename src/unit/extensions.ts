import type { Extension, Extensions } from '../suit/index.ts';
import type { UnitRecord } from './record.ts';

/** What every unit does beyond the base draft; encryption brings set-parameters with it (draft-ietf-suit-firmware-encryption 4). */
const EVERY_UNIT: readonly Extension[] = ['encryption', 'set-parameters', 'wait', 'parameter-lists'];

/** What units may do where nothing depends on another manifest. */
export const UNIT_EXTENSIONS: Extensions = new Set([...EVERY_UNIT, 'delta']);

/**
 * What one unit does: deltas only where its memory map sets RAM aside for them, dependencies only where it has further
 * components; the rest is refused by name, as draft-ietf-suit-trust-domains section 5.1 asks.
 */
export function extensionsOf({ memory }: Pick<UnitRecord, 'memory'>): Extensions {
  return new Set<Extension>([
    ...EVERY_UNIT,
    ...(memory.delta_window === undefined ? [] : (['delta'] as const)),
    ...(memory.components ? (['dependencies'] as const) : []),
  ]);
}

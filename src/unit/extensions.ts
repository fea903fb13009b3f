import type { Extension } from '../suit/index.ts';
import type { UnitRecord } from './record.ts';

/** What units may do beyond the base draft; encryption brings set-parameters with it (draft-ietf-suit-firmware-encryption 4). */
export const UNIT_EXTENSIONS: ReadonlySet<Extension> = new Set(['encryption', 'set-parameters', 'delta']);

const WITHOUT_DELTAS: ReadonlySet<Extension> = new Set(
  [...UNIT_EXTENSIONS].filter((each) => each !== 'delta'),
);

/** What one unit does: deltas only where its memory map sets RAM aside for them. */
export function extensionsOf({ memory }: Pick<UnitRecord, 'memory'>): ReadonlySet<Extension> {
  return memory.delta_window === undefined ? WITHOUT_DELTAS : UNIT_EXTENSIONS;
}

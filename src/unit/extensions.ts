import type { Extension } from '../suit/index.ts';

/** What units do beyond the base draft; encryption brings set-parameters with it (draft-ietf-suit-firmware-encryption 4). */
export const UNIT_EXTENSIONS: ReadonlySet<Extension> = new Set(['encryption', 'set-parameters']);

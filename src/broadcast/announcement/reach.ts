import { equal, fromHex } from '../../bytes/index.ts';
import { sha256 } from '../../crypto/index.ts';
import type { Reach } from './announcement.ts';

const THOUSAND = 1000;
const LOT_BYTES = 4;

/**
 * Whether a unit is reached. A share is drawn by lot: SHA-256 over the lot and the device identifier, its first four bytes
 * as a number modulo 1000, below the share. A larger share of the same lot reaches all that a smaller one did.
 */
export function inReach(reach: Reach, deviceId: string): boolean {
  const id = fromHex(deviceId.replaceAll('-', ''));
  if (reach.kind === 'units') return reach.units.some((unit) => equal(unit, id));
  const drawn = new DataView(sha256(reach.lot, id).buffer, 0, LOT_BYTES).getUint32(0);
  return drawn % THOUSAND < reach.permille;
}

import { equal, fromHex } from '../../bytes/index.ts';
import { type CborItem, CborMap, type CborValue, lookUp } from '../../cbor/index.ts';
import { sha256 } from '../../crypto/index.ts';
import { AnnouncementFault } from './fault.ts';
import { field, fixed, list, mapOf, number } from './items.ts';

/** Which units an offer is for: a share of them, drawn by lot, and perhaps some by name beside it; or by name only. */
export type Reach =
  | {
      readonly kind: 'share';
      /** Of a thousand. */
      readonly permille: number;
      /** 16 bytes. */
      readonly lot: Uint8Array;
      /** As below; absent where none are named. */
      readonly units?: readonly Uint8Array[];
    }
  | {
      readonly kind: 'units' /** Device identifiers, 16 bytes each, ascending. */;
      readonly units: readonly Uint8Array[];
    };

const REACH = { permille: 1, lot: 2, units: 3 } as const;
const ID_LENGTH = 16;
const MOST_UNITS = 256;
const THOUSAND = 1000;
const LOT_BYTES = 4;

/**
 * Whether a unit is reached. A share is drawn by lot: SHA-256 over the lot and the device identifier, its first four bytes
 * as a number modulo 1000, below the share. A larger share of the same lot reaches all that a smaller one did.
 */
export function inReach(reach: Reach, deviceId: string): boolean {
  const id = fromHex(deviceId.replaceAll('-', ''));
  if (reach.units?.some((unit) => equal(unit, id))) return true;
  return reach.kind === 'share' && drawnAt(reach.lot, id) < reach.permille;
}

/** The number, 0 to 999, that a lot draws for a device identifier of 16 bytes. */
export function drawnAt(lot: Uint8Array, id: Uint8Array): number {
  return new DataView(sha256(lot, id).buffer, 0, LOT_BYTES).getUint32(0) % THOUSAND;
}

export function encodeReach(reach: Reach): CborMap {
  const share: [CborValue, CborValue][] =
    reach.kind === 'share'
      ? [
          [REACH.permille, reach.permille],
          [REACH.lot, reach.lot],
        ]
      : [];
  return new CborMap(reach.units ? [...share, [REACH.units, [...reach.units]]] : share);
}

/** Throws `AnnouncementFault`. */
export function readReach(item: CborItem): Reach {
  const { permille, lot, units } = REACH;
  const isShare = item.type === 'map' && lookUp(item, permille) !== undefined;
  if (!isShare) return { kind: 'units', units: readUnits(field(mapOf(item, { units }, 'reach'), units)) };
  const map = mapOf(item, REACH, 'reach');
  const share = number(map, permille);
  if (share > THOUSAND) throw new AnnouncementFault('a share is at most 1000 of a thousand', item.start);
  const named = lookUp(map, units);
  return {
    kind: 'share',
    permille: share,
    lot: fixed(field(map, lot), ID_LENGTH),
    ...(named && { units: readUnits(named) }),
  };
}

function readUnits(item: CborItem): Uint8Array[] {
  const units = list(item, MOST_UNITS).map((each) => fixed(each, ID_LENGTH));
  const ascending = units.every((unit, i) => i === 0 || Buffer.compare(units[i - 1]!, unit) < 0);
  if (!ascending) throw new AnnouncementFault('the units are not in ascending order, each once', item.start);
  return units;
}

import {
  type ChallengeRefusal,
  NONCE_BYTES,
  type RegionRequest,
  resolveRegion,
  writeChallenge,
} from '../attestation/index.ts';
import { toHex } from '../bytes/index.ts';
import { randomBytes } from '../crypto/index.ts';
import { parseUuid } from '../suit/index.ts';
import { keepChallenge, type Workspace } from '../workspace/index.ts';
import type { UnitOnRecord } from './unit-on-record.ts';

const USUAL_HOURS = 24;
const HOUR = 3_600_000;

/** A challenge as it goes to the unit, and until when its answer is taken. */
export interface NewChallenge {
  readonly bytes: Uint8Array;
  readonly expires: Date;
  /** For programs. */
  readonly json: object;
}

/** Why a sound unit would not answer for that region, or undefined. What runs is known to the unit alone. */
export function notMeasurable(region: RegionRequest, unit: UnitOnRecord): ChallengeRefusal | undefined {
  if ('name' in region && region.name === 'running') return undefined;
  const found = resolveRegion(region, { memory: unit.memory, allowed: unit.regions }, undefined);
  return typeof found === 'string' ? found : undefined;
}

/**
 * Makes a challenge for one unit and takes it down: from then on one answer to it is taken, for `hours` (24 where left out).
 * `nonceBytes`: 8 to 64, 32 where left out (RFC 9711 section 4.1). Throws disk trouble.
 */
export function makeChallenge(
  workspace: Workspace,
  unit: UnitOnRecord,
  region: RegionRequest,
  {
    nonceBytes = NONCE_BYTES.usual,
    hours = USUAL_HOURS,
  }: { nonceBytes?: number | undefined; hours?: number | undefined } = {},
): NewChallenge {
  const nonce = randomBytes(nonceBytes);
  const made = workspace.now();
  const expires = new Date(made.getTime() + hours * HOUR);
  const about = { class: unit.className, serial: unit.serial, device_id: unit.deviceId };
  const taken = { ...about, region: regionJson(region), expires: expires.toISOString() };
  keepChallenge(workspace, nonce, { ...taken, made: made.toISOString() });
  const bytes = writeChallenge({ nonce, deviceId: parseUuid(unit.deviceId), region });
  const { region: asked, expires: until } = taken;
  return { bytes, expires, json: { ...about, nonce: toHex(nonce), region: asked, expires: until } };
}

/** A region for programs and records. */
function regionJson(region: RegionRequest) {
  return 'name' in region ? { name: region.name } : { address: region.address, size_bytes: region.length };
}

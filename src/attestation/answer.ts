import { type ByteSource, equal } from '../bytes/index.ts';
import { RECOVERY_AREA } from '../image/index.ts';
import { deviceOf, rememberUnit, type SlotMemory, type UnitMemory } from '../report/index.ts';
import { formatVersion } from '../suit/index.ts';
import type { BootSession, Flash, Unit } from '../unit/index.ts';
import { type Challenge, readChallenge } from './challenge.ts';
import {
  type EatClaims,
  type ResultGroup,
  type RunningSoftware,
  TOKEN_PROFILE,
  type ToldBoot,
} from './claims.ts';
import { AttestationError } from './error.ts';
import { identityOf } from './identity.ts';
import { MEASUREMENT_FORMAT, measure, type RegionMeasurement, writeMeasurement } from './measurement.ts';
import { type ChallengeRefusal, type MeasurableRegion, resolveRegion } from './regions.ts';

/** A unit that is asked: what it is made of, and what it remembers since it was started. */
export interface Attester {
  readonly unit: Unit;
  readonly flash: Pick<Flash, 'read'>;
  readonly running: UnitMemory['running'];
  readonly boot: BootSession | undefined;
  /** What its own self-check found; none where it has none. */
  readonly results: readonly ResultGroup[];
  /** Entries of its boot log to be told along, latest first. */
  readonly boots: readonly ToldBoot[];
}

/** What a unit answers: claims to be signed, or the reason why it does not. */
export type Answer =
  | { readonly ok: true; readonly claims: EatClaims; readonly measured: RegionMeasurement }
  | { readonly ok: false; readonly refusal: ChallengeRefusal; readonly detail: string };

/**
 * Answers a challenge: reads the region from flash now, hashes nonce and content, and says who it is and what runs.
 * Nothing is answered for another unit, by a unit that was not started, or about memory that is not measured.
 */
export function answerChallenge(bytes: Uint8Array, attester: Attester): Answer {
  const challenge = read(bytes);
  if (challenge instanceof AttestationError) return no('challenge-malformed', challenge.message);
  const { unit, running } = attester;
  if (!equal(challenge.deviceId, deviceOf(unit.record))) {
    return no('challenge-for-another-unit', `this is unit ${unit.record.serial}`);
  }
  if (running === undefined) return no('nothing-runs', 'nothing runs');
  const { memory, attestation } = unit.record;
  const rules = { memory, allowed: attestation?.regions };
  const name = running === 'recovery' ? RECOVERY_AREA : memory.slots[running]!.name;
  const region = resolveRegion(challenge.region, rules, name);
  if (typeof region === 'string') return no(region, regionText(challenge));
  return measured(challenge, attester, region);
}

function read(bytes: Uint8Array): Challenge | AttestationError {
  try {
    return readChallenge(bytes);
  } catch (error) {
    if (error instanceof AttestationError) return error;
    throw error;
  }
}

function no(refusal: ChallengeRefusal, detail: string): Answer {
  return { ok: false, refusal, detail };
}

/** A region as it was asked for. */
function regionText({ region }: Pick<Challenge, 'region'>): string {
  if ('name' in region) return region.name;
  return `0x${region.address.toString(16)}, ${region.length} bytes`;
}

function measured({ nonce }: Challenge, attester: Attester, region: MeasurableRegion): Answer {
  const { unit, flash, running } = attester;
  const remembered = rememberUnit(unit, flash, running);
  const slot = remembered.slots.find(({ name }) => name === region.area);
  const whole = slot && ['ready', 'on trial', 'kept'].includes(slot.state);
  if (region.area !== RECOVERY_AREA && !whole)
    return no('region-empty', `slot ${region.area} is ${slot?.state ?? 'unknown'}`);
  const measurement: RegionMeasurement = {
    area: region.area,
    address: region.address,
    length: region.size,
    digest: measure(nonce, contentOf(attester, region)),
    manifestDigest: slot?.manifestDigest,
  };
  return { ok: true, claims: claimsOf(nonce, attester, remembered, measurement), measured: measurement };
}

function contentOf({ unit, flash }: Attester, { area, offset, size }: MeasurableRegion): ByteSource {
  const { layout, record } = unit;
  const index = record.memory.slots.findIndex(({ name }) => name === area);
  const start = (index < 0 ? layout.recovery! : layout.slots[index]!).offset + offset;
  return { size, read: (at, length) => flash.read(start + at, length) };
}

function claimsOf(
  nonce: Uint8Array,
  { unit, running, boot, results, boots }: Attester,
  { slots }: UnitMemory,
  measurement: RegionMeasurement,
): EatClaims {
  const { record } = unit;
  const runs = typeof running === 'number' ? slots[running] : undefined;
  return {
    nonces: [nonce],
    ...identityOf({ vendorId: record.vendor_id, classIds: record.class_ids, deviceId: record.device_id }),
    dbgstat: record.debug === 'open' ? 'enabled' : 'disabled-since-boot',
    profile: TOKEN_PROFILE,
    bootcount: boot?.count,
    bootseed: boot?.seed,
    swname: record.class_name,
    swversion: runs && versionOf(runs),
    measurements: [{ format: MEASUREMENT_FORMAT, body: writeMeasurement(measurement) }],
    results,
    software: runs && softwareOf(runs),
    boots,
    others: [],
  };
}

function versionOf({ manifest }: SlotMemory): string | undefined {
  return manifest?.setVersion && formatVersion(manifest.setVersion);
}

function softwareOf({ manifestDigest, sequenceNumber }: SlotMemory): RunningSoftware {
  return { manifestDigest, sequenceNumber };
}

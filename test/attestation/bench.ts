/** Hollin Ridge's vent unit with an attestation key, and a verifier that has its record and its releases. */
import {
  type AttestationAppraisal,
  type AttestationBooks,
  type AttestedUnit,
  type Attester,
  answerChallenge,
  appraiseToken,
  type Challenge,
  type EatClaims,
  type MadeChallenge,
  sealToken,
  writeChallenge,
} from '../../src/attestation/index.ts';
import { fromHex, sourceOf, toHex } from '../../src/bytes/index.ts';
import type { MacKey, Signer } from '../../src/cose/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import type { MemoryMap } from '../../src/image/index.ts';
import { parseUuid } from '../../src/suit/index.ts';
import { type Unit, type UnitRecord, unitFileLayout } from '../../src/unit/index.ts';
import { freshSigner } from '../cose/keys.ts';
import { exampleRecord } from '../unit/records.ts';

export const PAGE = 512;
export const MEMORY: MemoryMap = {
  shape: 'linked',
  core: 'none',
  slots: [
    { name: 'A', address: 0x1000, size: 8 * PAGE },
    { name: 'B', address: 0x4000, size: 8 * PAGE },
  ],
  recovery: { address: 0x8000, size: 2 * PAGE },
  envelopes: { address: 0xa000, size: 8 * PAGE },
  state: { address: 0xc000, size: 4 * PAGE },
  boot_log: { address: 0xe000, size: 2 * PAGE },
  flash: { erase_page: PAGE, write_unit: 8, erased_value: 0xff, endurance: 1000 },
  ram: { address: 0, size: 0 },
  leave_out: [],
};
export const RECORD: UnitRecord = exampleRecord({ memory: MEMORY });
export const DEVICE = parseUuid(RECORD.device_id);
export const NONCE = fromHex('8f1c0b6ae24d97531e60a4c2b8d7f913');
export const signer = freshSigner('ESP256');

const filled = (size: number, seed: number) =>
  Uint8Array.from({ length: size }, (_, i) => (i * 7 + seed) & 0xff);
/** Images of two releases for slot A and slot B, and the recovery image. */
export const OLD = filled(1900, 3);
export const NEW = filled(2500, 9);
export const RECOVERY = filled(600, 5);
export const OLD_MANIFEST = sha256(OLD);
export const NEW_MANIFEST = sha256(NEW);

/** The flash of a unit that runs NEW from slot B, with OLD kept in slot A. */
export function flashOf(): Uint8Array {
  const { flash } = unitFileLayout(MEMORY);
  const bytes = new Uint8Array(flash.size).fill(0xff);
  bytes.set(OLD, flash.slots[0].offset);
  bytes.set(NEW, flash.slots[1].offset);
  bytes.set(RECOVERY, flash.recovery!.offset);
  return bytes;
}

/** A unit over bytes, as the answering half sees it: nothing is judged anew when it measures. */
export function attesterOver(flash: Uint8Array, changes: Partial<Attester> = {}, record = RECORD): Attester {
  const mark = (manifestDigest: Uint8Array, sequenceNumber: bigint) => ({
    state: 'kept' as const,
    manifestDigest,
    sequenceNumber,
    envelopeLength: 0,
  });
  const unit = {
    record,
    layout: unitFileLayout(MEMORY).flash,
    marks: () => ({ slots: [mark(OLD_MANIFEST, 4n), mark(NEW_MANIFEST, 5n)], fallen: [] }),
  } as unknown as Unit;
  return {
    unit,
    flash: { read: (offset, length) => flash.slice(offset, offset + length) },
    running: 1,
    boot: { count: 12, seed: new Uint8Array(16).fill(7) },
    results: [],
    boots: [],
    ...changes,
  };
}

export const challenge = (changes: Partial<Challenge> = {}): Challenge => ({
  nonce: NONCE,
  deviceId: DEVICE,
  region: { name: 'running' },
  ...changes,
});

/** The claims of a unit that answers; its versions are said by a manifest, which these units do not keep. */
export function claimsFor(asked: Challenge, attester: Attester): EatClaims {
  const answer = answerChallenge(writeChallenge(asked), attester);
  if (!answer.ok) throw new Error(`${answer.refusal}: ${answer.detail}`);
  const { software } = answer.claims;
  return { ...answer.claims, swversion: software && `1.${software.sequenceNumber}.0` };
}

export const tokenOf = (claims: EatClaims, by: Signer | MacKey = signer, deviceId = DEVICE) =>
  sealToken(claims, deviceId, by);

export const UNIT: AttestedUnit = {
  className: 'vent',
  serial: '0001',
  vendorId: RECORD.vendor_id,
  classIds: RECORD.class_ids,
  deviceId: RECORD.device_id,
  memory: MEMORY,
  attestationKey: signer.publicKey,
  macKey: undefined,
  lastBootCount: undefined,
};

const RELEASES = [
  { className: 'vent', sequenceNumber: 4n, version: '1.4.0', manifest: OLD_MANIFEST, image: OLD },
  { className: 'vent', sequenceNumber: 5n, version: '1.5.0', manifest: NEW_MANIFEST, image: NEW },
];

/** What the verifier knows, and what a case changes. */
export function books(
  asked: Challenge = challenge(),
  changes: Partial<AttestationBooks> = {},
  unit: Partial<AttestedUnit> = {},
  made: Partial<MadeChallenge> = {},
): AttestationBooks {
  return {
    unit: (id) => (toHex(id) === toHex(DEVICE) ? { ...UNIT, ...unit } : undefined),
    challenge: (nonce) =>
      toHex(nonce) === toHex(asked.nonce)
        ? {
            deviceId: asked.deviceId,
            region: asked.region,
            used: false,
            expires: new Date('2031-01-02T00:00:00Z'),
            ...made,
          }
        : undefined,
    release: (digest) => {
      const found = RELEASES.find(({ manifest }) => toHex(manifest) === toHex(digest));
      return found && { ...found, imageDigest: () => sha256(found.image) };
    },
    image: (digest) => {
      const found = RELEASES.find(({ image }) => toHex(sha256(image)) === toHex(digest));
      return found && sourceOf(found.image);
    },
    recovery: sourceOf(RECOVERY),
    leastNumber: () => 5n,
    now: new Date('2031-01-01T00:00:00Z'),
    ...changes,
  };
}

/** A whole round: challenge, answer by a unit over these bytes, appraisal. */
export async function round(
  flash: Uint8Array,
  asked = challenge(),
  changes: Partial<Attester> = {},
  known: AttestationBooks = books(asked),
): Promise<AttestationAppraisal> {
  return appraiseToken(await tokenOf(claimsFor(asked, attesterOver(flash, changes))), known);
}

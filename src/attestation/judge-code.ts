import { type ByteSource, equal, toHex } from '../bytes/index.ts';
import { equalInConstantTime } from '../crypto/index.ts';
import { codeAreas, RECOVERY_AREA } from '../image/index.ts';
import type { AttestationBooks, AttestedRelease, AttestedUnit, MadeChallenge } from './appraisal.ts';
import type { EatClaims } from './claims.ts';
import { expectedMeasurement, isSealedImage } from './expected.ts';
import type { RegionMeasurement } from './measurement.ts';
import type { Notes } from './notes.ts';
import { type MeasurableRegion, RUNNING, resolveRegion } from './regions.ts';

const REGION = 'docs/attestation.md';
const SOFTWARE = 'RFC 9711 4.2.7; docs/deployment-profile.md';
const MEASUREMENT = 'RFC 9711 4.2.16; RFC 9334 10.2';

/** What an answer says of code, and what it was asked. */
export interface CodeCase {
  readonly told: EatClaims;
  readonly measured: RegionMeasurement;
  readonly unit: AttestedUnit;
  readonly challenge: MadeChallenge;
  readonly nonce: Uint8Array;
}

/** Region, software and measurement. Gives the release that the unit says it runs. */
export function judgeCode(
  notes: Notes,
  subject: CodeCase,
  books: AttestationBooks,
): AttestedRelease | undefined {
  const region = judgeRegion(notes, subject);
  const release = judgeSoftware(notes, subject, books);
  if (region) judgeMeasurement(notes, subject, region, books);
  return release;
}

/** The region that was measured must be the one that was asked for, by the map that the unit was provisioned with. */
function judgeRegion(notes: Notes, { measured, unit, challenge }: CodeCase): MeasurableRegion | undefined {
  const rules = { memory: unit.memory, allowed: undefined };
  const running = codeAreas(unit.memory).find(({ name }) => name === measured.area)?.name;
  const asked = resolveRegion(challenge.region, rules, running);
  const { area, address, length } = measured;
  const told = `${area}, 0x${address.toString(16)}, ${length} bytes`;
  if (
    typeof asked === 'string' ||
    asked.area !== area ||
    asked.address !== address ||
    asked.size !== length
  ) {
    notes.fails('region-differs', `measured ${told}`, REGION);
    return undefined;
  }
  const named = 'name' in challenge.region && challenge.region.name === RUNNING;
  notes.holds('region', named ? `${told}, which runs` : told, REGION);
  return asked;
}

/** The release is the one whose manifest the unit names; claims must agree with its record, and it must be new enough. */
function judgeSoftware(
  notes: Notes,
  { told, measured, unit, challenge }: CodeCase,
  books: AttestationBooks,
): AttestedRelease | undefined {
  const { software, swversion } = told;
  if (!software) {
    notes.fails('recovery-runs', 'no manifest is named', SOFTWARE);
    return undefined;
  }
  const release = books.release(software.manifestDigest);
  if (!release) {
    notes.fails('release-unknown', `manifest ${toHex(software.manifestDigest)}`, SOFTWARE);
    return undefined;
  }
  const { className, sequenceNumber, version } = release;
  const named = `${className} ${version}, sequence number ${sequenceNumber}`;
  const runsElsewhere = asksRunning(challenge) && !measuredIs(measured, software.manifestDigest);
  if (className !== unit.className) {
    notes.fails('release-of-another-class', `${named}, and the unit is of class ${unit.className}`, SOFTWARE);
  } else if (software.sequenceNumber !== sequenceNumber || swversion !== version) {
    const found = `${swversion ?? 'no version'}, sequence number ${software.sequenceNumber}`;
    notes.fails('version-differs', `the unit says ${found}; its manifest is ${named}`, SOFTWARE);
  } else if (runsElsewhere) {
    notes.fails('version-differs', 'the slot that runs holds another manifest than the one named', SOFTWARE);
  } else notes.holds('software', named, SOFTWARE);
  return release;
}

function asksRunning({ region }: MadeChallenge): boolean {
  return 'name' in region && region.name === RUNNING;
}

function measuredIs({ manifestDigest }: RegionMeasurement, digest: Uint8Array): boolean {
  return manifestDigest !== undefined && equal(manifestDigest, digest);
}

/** The expected value is made here, from the sealed image itself: the maker keeps no list of digests. */
function judgeMeasurement(
  notes: Notes,
  subject: CodeCase,
  region: MeasurableRegion,
  books: AttestationBooks,
): void {
  const { measured, unit, nonce } = subject;
  const reference = region.area === RECOVERY_AREA ? books.recovery : referenceImage(notes, subject, books);
  if (!reference) {
    if (region.area === RECOVERY_AREA)
      notes.leaveOpen('measurement', 'no recovery image was given', MEASUREMENT);
    return;
  }
  const area = codeAreas(unit.memory).find(({ name }) => name === region.area)!;
  const expected = expectedMeasurement(nonce, reference, {
    areaSize: area.size,
    offset: region.offset,
    length: region.size,
    erasedValue: unit.memory.flash.erased_value,
  });
  if (!equalInConstantTime(expected, measured.digest)) {
    notes.fails(
      'measurement-differs',
      `measured ${toHex(measured.digest)}, expected ${toHex(expected)}`,
      MEASUREMENT,
    );
  } else if (region.area === RECOVERY_AREA) {
    notes.holds(
      'measurement',
      'the recovery image is the one that was given; no record names it',
      MEASUREMENT,
    );
  } else notes.holds('measurement', `the ${region.size} bytes are what was sealed`, MEASUREMENT);
}

function referenceImage(
  notes: Notes,
  { measured }: CodeCase,
  books: AttestationBooks,
): ByteSource | undefined {
  const { area, manifestDigest } = measured;
  const release = manifestDigest && books.release(manifestDigest);
  const digest = release?.imageDigest(area);
  if (!release || !digest) {
    notes.fails('release-unknown', `nothing on record was sealed for what lies in ${area}`, MEASUREMENT);
    return undefined;
  }
  const content = books.image(digest);
  const named = `${release.className} ${release.version}`;
  if (!content) {
    const missing = `the image of ${named} is not at hand: give its envelope, or the image itself`;
    notes.leaveOpen('measurement', missing, MEASUREMENT);
    return undefined;
  }
  if (isSealedImage({ content, digest })) return content;
  notes.leaveOpen('measurement', `the file at hand is not the image of ${named}`, MEASUREMENT);
  return undefined;
}

/** Told last: what is genuine and old is a smaller matter than what is not genuine. */
export function judgeAge(notes: Notes, { sequenceNumber }: AttestedRelease, least: bigint | undefined): void {
  const found = `sequence number ${sequenceNumber}`;
  if (least === undefined) notes.skip('up to date', 'nothing to compare with', SOFTWARE);
  else if (sequenceNumber < least) {
    notes.fails('software-stale', `${found}; ${least} at least is asked for`, SOFTWARE);
  } else notes.holds('up to date', `${found}; ${least} at least is asked for`, SOFTWARE);
}

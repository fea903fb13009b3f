import { equal } from '../../bytes/index.ts';
import type { Headers } from '../../cose/index.ts';
import type { Effect } from '../facts.ts';
import {
  MAXIMUM_SECURITY_VERSION,
  readSecurityVersion,
  SECURITY_VERSION_LABEL,
} from '../security-version.ts';
import type { SlotView, UnitState, UnitView } from '../state.ts';
import type { Trace } from '../trace.ts';

/** What is to be compared with what is on board. */
export interface Candidate {
  /** Digest over the manifest, as sealed, 32 bytes. */
  readonly manifestDigest: Uint8Array;
  readonly sequenceNumber: bigint;
  /** Headers that the seal vouches for. */
  readonly headers: Headers;
}

/** What step 5 found out: what installing would do, and the security version that would become the floor. */
export interface Freshness {
  readonly effect: Effect;
  readonly securityVersion: number;
}

type OccupiedSlot = Exclude<SlotView, { state: 'empty' }>;

/**
 * Step 5: no trial under way, no number below what is on board, no number twice, not a manifest that fell back too
 * often, and a security version at or above the floor. draft-ietf-suit-manifest section 8.4.2, RFC 9124 section
 * 4.3.1; that a new install needs a strictly higher number is our policy.
 */
export function judgeFreshness(trace: Trace, candidate: Candidate, unit: UnitView): Freshness {
  trace.enter('freshness');
  judgeMarks(trace, unit);
  judgeTrial(trace, unit);
  judgeNumber(trace, candidate, unit);
  judgeFallen(trace, candidate, unit);
  const securityVersion = judgeSecurityVersion(trace, candidate.headers, unit.state.floors.securityVersion);
  const slot = holderOf(unit.state, candidate.manifestDigest);
  if (slot < 0) return { effect: 'new install', securityVersion };
  const effect = unit.state.slots[slot]!.state === 'filling' ? 'resume' : 'already there';
  return { effect, securityVersion };
}

/** Index of the slot that holds the same manifest already, complete or not; -1 where none does. */
export function holderOf({ slots }: UnitState, manifestDigest: Uint8Array): number {
  return slots.findIndex((each) => holds(each, manifestDigest));
}

/** Marks, and what trust updates said: without them a unit cannot tell whom to believe. Step `freshness` is open. */
export function judgeMarks(trace: Trace, { state: { marksRead, trust } }: UnitView): void {
  const policyRead = trust === undefined || trust.policy !== undefined;
  trace.require(marksRead && policyRead, 'marks-lost', {
    what: 'marks of the unit, and the policy that they name',
    expected: 'readable',
    found: marksRead
      ? policyRead
        ? 'readable'
        : 'another policy than the one taken'
      : 'none that this unit wrote',
    source: 'docs/deployment-profile.md; RFC 9124 4.2.1',
  });
}

function holds(slot: SlotView, digest: Uint8Array): slot is OccupiedSlot {
  return slot.state !== 'empty' && equal(slot.manifestDigest, digest);
}

/** No image on trial. Step `freshness` is open. */
export function judgeTrial(trace: Trace, { state, record }: UnitView): void {
  const onTrial = state.slots.findIndex((slot) => slot.state === 'on trial');
  trace.require(onTrial < 0, 'trial-in-progress', {
    what: 'trial',
    expected: 'no image on trial',
    found: onTrial < 0 ? 'none' : `slot ${record.memory.slots[onTrial]!.name} is on trial`,
    source: 'RFC 9019 4.1; docs/deployment-profile.md',
  });
}

/** A slot that is still filling is not on board: its number binds nobody until its image is whole. */
function isOnBoard(slot: SlotView): slot is OccupiedSlot {
  return slot.state !== 'empty' && slot.state !== 'filling';
}

function judgeNumber(trace: Trace, { sequenceNumber, manifestDigest }: Candidate, { state }: UnitView): void {
  const board = state.slots.filter(isOnBoard);
  const lowest = highestOnBoard(board, state.floors.sequenceNumber);
  const source = 'draft-ietf-suit-manifest 8.4.2; RFC 9124 4.3.1';
  trace.require(sequenceNumber >= lowest, 'sequence-number-too-low', {
    what: 'sequence number',
    expected: () => `at least ${lowest}, the highest on board`,
    found: sequenceNumber,
    source,
  });
  const namesake = board.find((slot) => slot.sequenceNumber === sequenceNumber);
  if (!namesake) return;
  trace.require(equal(namesake.manifestDigest, manifestDigest), 'sequence-number-used', {
    what: 'manifest on board with the same sequence number',
    expected: namesake.manifestDigest,
    found: manifestDigest,
    source,
  });
}

function highestOnBoard(board: readonly OccupiedSlot[], floor: bigint): bigint {
  let highest = floor;
  for (const { sequenceNumber } of board) if (sequenceNumber > highest) highest = sequenceNumber;
  return highest;
}

function judgeFallen(trace: Trace, { manifestDigest }: Candidate, { state, record }: UnitView): void {
  const tries = state.fallen.find((each) => equal(each.manifestDigest, manifestDigest))?.tries ?? 0;
  trace.require(tries < record.trial_attempts, 'fell-back-before', {
    what: 'trials of this manifest that ended in falling back',
    expected: () => `fewer than ${record.trial_attempts}`,
    found: tries,
    source: 'docs/deployment-profile.md',
  });
}

function judgeSecurityVersion(trace: Trace, headers: Headers, floor: number): number {
  const version = readSecurityVersion(headers);
  const source = 'docs/deployment-profile.md; RFC 9124 4.2.1';
  if (version === undefined) {
    trace.refuse('security-version-malformed', {
      what: `security version, protected header ${SECURITY_VERSION_LABEL}`,
      expected: `an unsigned integer up to ${MAXIMUM_SECURITY_VERSION}`,
      found: 'something else',
      source,
    });
  }
  trace.require(version >= floor, 'security-version-below-floor', {
    what: 'security version',
    expected: () => `at least ${floor}`,
    found: version,
    source,
  });
  trace.facts.securityVersion = version;
  return version;
}

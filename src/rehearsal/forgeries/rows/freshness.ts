/** Step 5: payloads that are genuine and no longer wanted. */

import { encode } from '../../../cbor/index.ts';
import { randomBytes, sha256 } from '../../../crypto/index.ts';
import type { SlotView, UnitState } from '../../../unit/index.ts';
import { Draft } from '../draft.ts';
import { type Attack, type Forgery, later, resealed } from '../forgery.ts';
import type { Lab, Party } from '../lab.ts';

/** The number and digest of what is offered. */
function offered({ parts }: Party): { readonly number: bigint; readonly digest: Uint8Array } {
  return { number: new Draft(parts).number, digest: sha256(encode(parts.manifest)) };
}

/** The unit remembers something else. */
const remembering = (
  memory: (offer: ReturnType<typeof offered>, state: UnitState, lab: Lab) => Partial<UnitState>,
): Attack => later((party, lab) => ({ state: (state) => memory(offered(party), state, lab) }));

/** What one slot holds instead; the one that does not run where `which` is `free`. */
function withSlot(
  state: UnitState,
  which: 'running' | 'free',
  slot: SlotView,
): Pick<UnitState, 'slots' | 'running'> {
  const running = state.running ?? 0;
  const at = which === 'running' ? running : 1 - running;
  return { running, slots: state.slots.map((each, i) => (i === at ? slot : each)) };
}

const held = (
  state: 'ready' | 'kept' | 'on trial',
  sequenceNumber: bigint,
  manifestDigest = randomBytes(32),
) => ({ state, sequenceNumber, manifestDigest }) as const;

export const FRESHNESS_ROWS: readonly Forgery[] = [
  {
    name: 'This release once a later one was kept',
    threat: 'IMG.EXPIRED',
    built: 'the payload as it is, to a unit whose floor a later release has raised',
    refusal: 'sequence-number-too-low',
    attack: remembering(({ number }, { floors }) => ({ floors: { ...floors, sequenceNumber: number + 1n } })),
  },
  {
    name: 'This release once a later one is installed',
    threat: 'IMG.EXPIRED.OFFLINE',
    built: 'the payload as it is, to a unit with a later release ready in its other slot',
    refusal: 'sequence-number-too-low',
    attack: remembering(({ number }, state) => withSlot(state, 'free', held('ready', number + 1n))),
  },
  {
    name: 'The way back to the former image',
    threat: 'IMG.EXPIRED',
    built:
      'the payload as it is, to a unit that kept it, then a later one, and has it still in its other slot',
    where: ['two slots'],
    refusal: 'sequence-number-too-low',
    attack: remembering(({ number, digest }, state) => {
      const before = withSlot(state, 'free', held('kept', number, digest));
      return withSlot({ ...state, ...before }, 'running', held('kept', number + 1n));
    }),
  },
  {
    name: 'An older release as it was sealed',
    threat: 'IMG.EXPIRED.OFFLINE',
    built: 'a genuine release whose number lies two below this one’s',
    refusal: 'sequence-number-too-low',
    attack: resealed(
      (draft) => {
        draft.number = draft.number > 1n ? draft.number - 2n : 0n;
      },
      {},
      {
        state: ({ floors }: UnitState) => ({
          floors: { ...floors, sequenceNumber: floors.sequenceNumber + 1n },
        }),
      },
    ),
  },
  {
    name: 'Another release under a number that was used',
    threat: 'IMG.EXPIRED',
    built: 'the payload as it is, to a unit that runs another release with the same number',
    refusal: 'sequence-number-used',
    attack: remembering(({ number }, state) => ({
      ...withSlot(state, 'running', held('kept', number)),
      floors: { ...state.floors, sequenceNumber: number },
    })),
  },
  {
    name: 'A release while another one is on trial',
    threat: 'IMG.REPLACE',
    built: 'the payload as it is, to a unit that has not yet kept what it runs',
    refusal: 'trial-in-progress',
    attack: remembering(({ number }, state) => withSlot(state, 'running', held('on trial', number - 1n))),
  },
  {
    name: 'A release that fell back too often',
    threat: 'IMG.EXPIRED',
    built: 'the payload as it is, to a unit on which it fell back as often as it is tried',
    refusal: 'fell-back-before',
    attack: later((party, lab) => ({
      state: () => ({
        fallen: [{ manifestDigest: offered(party).digest, tries: lab.record.trial_attempts }],
      }),
    })),
  },
  {
    name: 'A unit that lost its memory',
    threat: 'IMG.EXPIRED',
    built:
      'the payload as it is, to a unit whose marks were erased, as by somebody who wants its floors gone',
    refusal: 'marks-lost',
    attack: remembering(() => ({ marksRead: false })),
  },
  {
    name: 'Firmware from before a fix',
    threat: 'IMG.EXPIRED',
    built: 'the payload as it is, to a unit whose security floor lies above it',
    refusal: 'security-version-below-floor',
    attack: later((_, { genuine }) => ({
      state: ({ floors }) => ({
        floors: { ...floors, securityVersion: (genuine.verdict.facts.securityVersion ?? 0) + 1 },
      }),
    })),
  },
  {
    name: 'A security version that is a text',
    threat: 'IMG.EXPIRED',
    built: 'the security version in the protected header is the text 1',
    where: ['single signature'],
    refusal: 'security-version-malformed',
    attack: resealed(() => {}, { securityVersion: '1' }),
  },
  {
    name: 'A security version beyond 32 bits',
    threat: 'IMG.EXPIRED',
    built: 'the security version in the protected header is 2^32, which wraps to 0',
    refusal: 'security-version-malformed',
    attack: resealed(() => {}, { securityVersion: 2 ** 32 }),
  },
];

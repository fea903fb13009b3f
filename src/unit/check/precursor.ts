import { type ByteSource, equal, slice } from '../../bytes/index.ts';
import type { Manifest } from '../../suit/index.ts';
import type { Trace } from '../trace.ts';
import type { Circumstances, Precursor } from './condition-rows.ts';
import { roleOf } from './host.ts';
import { digestOfSource } from './image.ts';
import {
  followInstall,
  type InstallFollowed,
  type InstallSubject,
  OTHER_PRECURSOR,
  type Payload,
} from './install-on-paper.ts';

const SOURCE = 'RFC 9124 4.3.9; draft-ietf-suit-manifest 8.4.9.2; docs/deployment-profile.md';

/** What a unit runs, by the slot that holds it. Its digest is computed when it is asked for, once for each length. */
export function precursorIn(slot: ByteSource): Precursor {
  const digests = new Map<number, Uint8Array>();
  return {
    is({ digest, size }) {
      if (size > slot.size) return false;
      const known = digests.get(size) ?? digestOfSource(slice(slot, 0, size));
      digests.set(size, known);
      return equal(known, digest);
    },
  };
}

/** Whether a manifest goes by what runs. */
export function asksForPrecursor({ components }: Manifest, circumstances: Circumstances): boolean {
  if (circumstances.unit.record.memory.delta_window === undefined) return false;
  return components.some((identifier) => roleOf(circumstances, { identifier }) === 'precursor');
}

/**
 * The last of step 7 where a manifest goes by what runs: the delta is for it and its windows fit the memory that is set
 * aside, or else the whole image is at hand. `atHand`: whether what a payload is fetched from is there.
 */
export function judgePrecursor(
  trace: Trace,
  subject: InstallSubject,
  circumstances: Circumstances,
  atHand: (payload: Payload) => boolean,
): void {
  const followed = followInstall(subject, circumstances);
  const { payload, outcome, compared } = followed;
  const lacking = outcome.ok ? payload && !atHand(payload) : outcome.reason === OTHER_PRECURSOR;
  const other = compared.length > 0 && !compared.some(({ holds }) => holds);
  if (lacking && other) refusePrecursor(trace, followed, circumstances);
  notePrecursor(trace, followed);
  if (!payload?.delta) return;
  trace.facts.delta = payload.delta;
  judgeWindow(trace, payload.delta.window, circumstances);
}

function notePrecursor(trace: Trace, { compared, payload }: InstallFollowed): void {
  for (const { image, holds } of compared) {
    const question = { what: 'SHA-256 of what runs', expected: image.digest, source: SOURCE };
    if (holds) trace.holds(question, 'the precursor of the delta');
    else trace.note(question, payload?.delta ? 'not this one' : 'another image: the delta is not for it');
  }
}

function refusePrecursor(trace: Trace, { compared }: InstallFollowed, { precursor }: Circumstances): never {
  return trace.refuse('precursor-wrong', {
    what: `SHA-256 of what runs, ${compared.map(({ image }) => image.size).join(' or ')} bytes`,
    expected: compared[0]!.image.digest,
    found: precursor
      ? 'another image, and the whole image is not at hand'
      : 'nothing that a delta could be applied to',
    source: SOURCE,
  });
}

function judgeWindow(trace: Trace, window: number, { unit }: Circumstances): void {
  const room = unit.record.memory.delta_window!;
  trace.require(window <= room, 'delta-window-too-large', {
    what: 'largest window of the delta in bytes',
    expected: () => `at most ${room}, the memory that is set aside for it`,
    found: window,
    source: 'RFC 3284 4.3; docs/deployment-profile.md',
  });
}

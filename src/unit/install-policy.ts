import { sha256 } from '../crypto/index.ts';
import { FlashError } from './flash.ts';
import { guard } from './flash-guard.ts';
import type { Board } from './life-board.ts';
import type { Marks, TrustMark } from './marks.ts';
import type { TrustPlan } from './ports.ts';
import { areaHolds, replaceArea } from './slots.ts';
import type { Trace } from './trace.ts';

/**
 * Steps 8 to 10 of a trust update: the policy goes to the half of its area that does not count, is read back, and one
 * mark makes it count together with the floor it raises; then the other half is written alike. A cut in power leaves the
 * old policy or the new one. Throws `PowerCut`.
 */
export function installPolicy(board: Board, trace: Trace, { effect, trust }: TrustPlan): void {
  const { flash, journal } = board;
  trace.enter('content');
  guard(trace, 'flash-failed', { what: 'marks', source: 'RFC 9019 3' }, () => journal.settle());
  if (effect === 'already there') {
    noteAlready(board, trace, trust.content);
    return;
  }
  const halves = board.layout.policy!;
  const half = journal.marks!.trust?.half === 0 ? 1 : 0;
  guard(trace, 'flash-failed', { what: 'policy area', source: 'RFC 9019 3' }, () =>
    replaceArea(flash, halves[half], trust.content),
  );
  trace.holds({
    what: `half ${half + 1} of the policy area`,
    expected: `${trust.content.length} bytes, the rest erased`,
    found: 'written; the half that counts is untouched',
    source: 'draft-ietf-suit-manifest 6.3.1, 8.4.10.6',
  });
  trace.enter('image');
  trace.require(areaHolds(flash, halves[half], trust.content), 'image-digest-wrong', {
    what: 'policy read back',
    expected: 'as it stands in the manifest',
    source: 'draft-ietf-suit-manifest 8.4.9.2',
  });
  trace.enter('commit');
  const next = withTrust(journal.marks!, trust, half);
  const question = {
    what: 'mark of the policy',
    expected: 'counts',
    source: 'draft-ietf-suit-manifest 6.3.1',
  };
  guard(trace, 'mark-not-written', question, () => {
    journal.write(next);
    // Twice: a damaged record then takes neither policy nor floor down with it.
    journal.write(next);
  });
  trace.holds(question, 'counts');
  writeCopies(board, trace, trust.content);
}

/** Each half that does not hold what counts is written again; one that takes no order is noted, for the other counts. */
function writeCopies({ flash, layout }: Board, trace: Trace, content: Uint8Array): void {
  for (const [i, half] of layout.policy!.entries()) {
    if (areaHolds(flash, half, content)) continue;
    try {
      replaceArea(flash, half, content);
    } catch (error) {
      if (!(error instanceof FlashError)) throw error;
      trace.note({
        what: `copy in half ${i + 1}`,
        found: error.message,
        source: 'docs/deployment-profile.md',
      });
    }
  }
}

function withTrust(
  marks: Marks,
  { rank, number, manifestDigest, policy, content }: TrustPlan['trust'],
  half: 0 | 1,
) {
  const numbers = { release: 0n, spare: 0n, ...marks.trust?.numbers, [rank]: number };
  const trust: TrustMark = {
    half,
    rank,
    numbers,
    manifestDigest,
    length: content.length,
    digest: sha256(content),
  };
  const securityVersion = Math.max(marks.floors.securityVersion, policy.securityVersion);
  return { ...marks, trust, floors: { ...marks.floors, securityVersion } };
}

function noteAlready(board: Board, trace: Trace, content: Uint8Array): void {
  writeCopies(board, trace, content);
  for (const step of ['content', 'image', 'commit'] as const) {
    trace.skip(step, {
      what: 'the same trust update',
      found: 'taken already; only a copy that was damaged is written again',
      source: 'docs/deployment-profile.md',
    });
  }
}

import type { Certificate } from '../../x509/index.ts';
import type { Refusal } from '../refusals.ts';
import type { UnitView } from '../state.ts';
import { Trace } from '../trace.ts';
import { attemptOf } from '../verdict.ts';
import { judgePath, judgeRights } from './signer-path.ts';

/** Whether somebody may announce for a unit; if so, their certificate. */
export type AnnouncerVerdict =
  | { readonly ok: true; readonly signer: Certificate }
  | { readonly ok: false; readonly refusal: Refusal };

/**
 * Judges a signer of announcements as one of releases is judged at install, but for the purpose: path, scope, generation,
 * deny list, trial and published keys. `at`: the time by the unit's clock, undefined where it has none. Never throws on data.
 */
export function judgeAnnouncer(
  unit: UnitView,
  chain: readonly Certificate[],
  at: Date | undefined,
): AnnouncerVerdict {
  const rules = { at, revocation: true, purpose: 'announcement' } as const;
  const trace = new Trace(['signer']);
  trace.enter('signer');
  const attempt = attemptOf(() => {
    const judged = judgePath(trace, chain, unit, rules);
    judgeRights(trace, judged, unit, rules);
    return judged.path[0]!;
  });
  return attempt.ok ? { ok: true, signer: attempt.value } : attempt;
}

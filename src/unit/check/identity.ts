import { type Manifest, type Outcome, runSequences } from '../../suit/index.ts';
import type { Trace } from '../trace.ts';
import { type Circumstances, requireNamed, UnitConditions } from './conditions.ts';

/**
 * Step 6: the shared sequence, run with empty parameters: vendor, class, single unit, slot and further conditions.
 * It must ask for vendor and class. draft-ietf-suit-manifest sections 6.1, 6.2 and 7.1.
 */
export function judgeIdentity(trace: Trace, manifest: Manifest, circumstances: Circumstances): void {
  trace.enter('identity');
  const conditions = new UnitConditions(trace, circumstances);
  const outcome = runSequences(manifest, 'shared', {
    condition: (code, _component, parameters) => conditions.judge(code, parameters),
    directive: refuseDirective,
  });
  if (!outcome.ok) conditions.refuse(outcome);
  requireNamed(trace, conditions.met);
}

/** The reader admits none in a shared sequence (draft-ietf-suit-manifest section 6.2). */
function refuseDirective(code: number): Outcome {
  return { ok: false, reason: 'condition-failed', detail: `directive ${code} in the shared sequence` };
}

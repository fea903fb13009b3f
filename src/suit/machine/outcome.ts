import type { SectionName } from '../manifest.ts';
import type { Command } from '../sequence.ts';

/** How a command, a sequence or a procedure ended. */
export type Outcome =
  | { readonly ok: true }
  | {
      readonly ok: false;
      /** The host's reason as it gave it, or a `MachineReason`. */
      readonly reason: string;
      readonly detail: string;
      /** The command that failed. */
      readonly at?: CommandPlace;
    };

/** Where a procedure stopped. */
export interface CommandPlace {
  readonly section: SectionName | 'shared';
  readonly code: number;
  /** Offset of the command as `Command.offset`. */
  readonly offset: number;
  readonly component: number;
  /** In a dependency: the component indices that lead to it from the root manifest. */
  readonly dependency?: readonly number[];
}

/** Reasons that the machine itself gives. */
export type MachineReason =
  /** Condition abort (14), or what [M] sections 6.4 to 6.7 and 8.4.8.15 answer with an Abort. */
  | 'abort'
  | 'parameter-missing'
  /** The section is severed and the envelope does not hold it, or holds something else. */
  | 'section-absent'
  | 'section-altered'
  /** More commands than `SUIT_LIMITS.steps`. */
  | 'too-many-steps'
  /** More dependency checks than `SUIT_LIMITS.dependencyChecks`, or deeper than `dependencyDepth`. */
  | 'too-many-dependencies'
  /** The component is no dependency ([TD] sections 5.6.2 and 5.6.3), or the host takes none. */
  | 'not-a-dependency'
  /** Processed before its integrity was checked, or after it was overwritten ([TD] section 5.6.2). */
  | 'dependency-unchecked'
  /** A section that a dependency has was not processed in its turn ([TD] section 5.1). */
  | 'dependency-unprocessed';

/** A failed condition may be soft; a failed directive and an abort never are ([M] section 6.4). */
export interface Failure {
  readonly kind: 'condition' | 'abort';
  readonly reason: string;
  readonly detail: string;
  readonly at?: CommandPlace;
}

export function outcomeOf(failure: Failure | undefined): Outcome {
  if (!failure) return { ok: true };
  const { reason, detail, at } = failure;
  return at ? { ok: false, reason, detail, at } : { ok: false, reason, detail };
}

export function kindOf(command: Command): Failure['kind'] {
  return command.row.kind === 'condition' ? 'condition' : 'abort';
}

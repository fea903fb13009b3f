/** Documents of the fleet as the server sends them: the parts that pages show. */

export const UNIT_STATES = [
  'kept',
  'on-trial',
  'reached',
  'waiting',
  'unheard',
  'refused',
  'fell-back',
] as const;
export type UnitState = (typeof UNIT_STATES)[number];

/** What each state means, in words. */
export const STATE_SAYS: Readonly<Record<UnitState, string>> = {
  kept: 'kept the release',
  'on-trial': 'on trial',
  reached: 'reached, not heard of yet',
  waiting: 'waiting for a wave',
  unheard: 'in no broadcast, never heard of',
  refused: 'refused',
  'fell-back': 'fell back',
};

export type ByState = Readonly<Partial<Record<UnitState, number>>>;

export interface RefusalCount {
  readonly step: string;
  readonly code: string;
  readonly units: number;
}

export interface FleetShown {
  readonly units: number;
  readonly by_class: readonly {
    readonly class: string | null;
    readonly class_id: string;
    readonly units: number;
  }[];
  readonly by_state: ByState;
  readonly by_version: readonly { readonly version: string | null; readonly units: number }[];
  readonly by_refusal: readonly RefusalCount[];
}

export interface FleetUnitShown {
  readonly class: string | null;
  readonly class_id: string;
  readonly device: string;
  readonly serial: string | null;
  readonly cohort: string | null;
  readonly hardware: string | null;
  readonly version: string | null;
  readonly sequence_number: string | null;
  readonly manifest_digest: string | null;
  readonly state: UnitState;
  readonly refusal: { readonly step: string; readonly code: string } | null;
  readonly last_heard: string | null;
  readonly wave: { readonly broadcast: number; readonly number: number } | null;
  readonly attestation: { readonly verdict: string; readonly at: string } | null;
  readonly tags: Readonly<Record<string, string>>;
}

export interface UnitsPage {
  readonly units: readonly FleetUnitShown[];
  readonly next: string | null;
}

export type LifeEntry =
  | { readonly kind: 'event'; readonly at: string; readonly who: string; readonly text: string }
  | {
      readonly kind: 'attestation';
      readonly at: string;
      readonly verdict: string;
      readonly refusal: string | null;
      readonly answer_sha256: string;
    }
  | {
      readonly kind: 'report';
      readonly at: string;
      readonly outcome: string;
      readonly refusal: { readonly step: string; readonly code: string } | null;
      readonly version: string | null;
      readonly sequence_number: string | null;
      readonly report_sha256: string;
    };

export interface UnitLife {
  readonly unit: FleetUnitShown;
  readonly history: readonly LifeEntry[];
  readonly next: string | null;
}

export type BroadcastState = 'planned' | 'running' | 'paused' | 'halted' | 'done';

export interface BroadcastListed {
  readonly broadcast: number;
  readonly class: string;
  readonly version: string;
  readonly state: BroadcastState;
}

interface Limit {
  /** Of a thousand. */
  readonly share: number;
  readonly least: number;
}

export interface WaveShown {
  readonly number: number;
  readonly name: string;
  /** Of a thousand units, by lot; null where the wave names its units. */
  readonly share: number | null;
  readonly named: number;
  readonly state: 'planned' | 'open' | 'soaking' | 'passed' | 'stopped';
  readonly why: string | null;
  readonly opened: string | null;
  readonly since: string | null;
  readonly units: number;
  readonly waiting: number;
  readonly reached: number;
  readonly on_trial: number;
  readonly kept: number;
  readonly refused: number;
  readonly fell_back: number;
  readonly silent: number;
  /** What was known when somebody resumed, and stops nothing again. */
  readonly known: { readonly refused: number; readonly fell_back: number; readonly silent: number };
  readonly refusals: readonly RefusalCount[];
  readonly rules: {
    readonly soak_s: number;
    readonly success: number;
    readonly within_s: number;
    readonly silence_s: number;
    readonly stop: { readonly refused: Limit; readonly fell_back: Limit; readonly silent: Limit };
  };
}

export interface BroadcastView {
  readonly broadcast: number;
  readonly class: string;
  readonly release: {
    readonly version: string;
    readonly sequence_number: string;
    readonly manifest_digest: string;
  };
  readonly state: BroadcastState;
  readonly why: string | null;
  readonly revision: number;
  readonly begun: string;
  /** Of the class. */
  readonly units: number;
  /** The desk's depot, where it holds what is offered. */
  readonly depot: string | null;
  /** Names of the steps of a unit's decision, in their order. */
  readonly steps: readonly string[];
  readonly steered_by: string | null;
  readonly condition: string | null;
  readonly stepping_stones: readonly string[];
  readonly waves: readonly WaveShown[];
  readonly next: {
    readonly do: 'open' | 'soak' | 'pass' | 'stop' | 'done' | 'wait';
    readonly wave: number | null;
    readonly why: string;
    readonly until: string | null;
  };
}

export interface EventsPage {
  readonly events: readonly {
    readonly number: number;
    readonly at: string;
    readonly wave: number | null;
    readonly who: string;
    readonly text: string;
  }[];
  readonly next: number | null;
}

/** A plan of waves to begin from. */
export interface PlanDraft {
  readonly plan: string;
  /** The folder that files go into; null where nothing begins at this desk. */
  readonly depot: string | null;
}

/** What a plan comes to as the fleet stands. */
export interface PlanJudgement {
  /** Of the class. */
  readonly units: number;
  readonly waves: readonly {
    readonly name: string;
    /** That no wave before it holds. */
    readonly units: number;
    readonly share: number | null;
  }[];
  readonly in_no_wave: number;
  readonly not_in_fleet: readonly string[];
  readonly stepping_stones: readonly number[];
  readonly cautions: readonly string[];
  readonly refused: { readonly message: string; readonly hint: string } | null;
}

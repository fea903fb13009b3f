/** Documents as the server sends them: the parts that pages show. */

export interface SessionShown {
  readonly who: string;
  readonly role: string;
  readonly rights: readonly string[];
  readonly unlocked_until: string | null;
}

export interface KeyShown {
  readonly name: string;
  readonly purpose: string;
  readonly custody: string;
  readonly algorithm: string;
  readonly fingerprint: string;
  readonly trial: boolean;
  readonly certificate: {
    readonly subject: string;
    readonly issuer: string;
    readonly not_before: string;
    readonly not_after: string | null;
    readonly scope: readonly string[];
    readonly generation: number | null;
    readonly role: string | null;
    readonly purpose: string | null;
  } | null;
}

export interface ReleaseShown {
  readonly record: string;
  readonly class: string;
  readonly version: string;
  readonly sequence_number: string;
  readonly sealed: string;
  readonly manifest_digest: string;
  readonly envelope: { readonly file: string; readonly size_bytes: number; readonly sha256: string };
  /** `signed`: when it was added later. */
  readonly signers: readonly {
    readonly name: string;
    readonly fingerprint: string;
    readonly signed: string | null;
  }[];
  /** Whom units still ask for. */
  readonly open: readonly string[];
  /** All that were written of it, the sealed one first. */
  readonly envelopes: readonly { readonly sha256: string }[];
}

export interface Standing {
  readonly workspace: { readonly kind: string; readonly trial: boolean; readonly vendor_domain: string };
  readonly now: string;
  readonly classes: readonly {
    readonly name: string;
    readonly model: string;
    readonly scheme: string;
    readonly profile: string;
    readonly clock: boolean;
    readonly confidentiality: string;
    readonly units: number;
    readonly releases: number;
  }[];
  readonly keys: readonly KeyShown[];
  readonly releases: readonly ReleaseShown[];
  readonly ledger: {
    readonly entries: number;
    readonly verdict: { readonly intact: boolean; readonly findings: readonly { readonly says?: string }[] };
  };
  readonly cautions: readonly string[];
  readonly next: { readonly says: string; readonly command: string; readonly page: string | null };
}

export interface RegionShown {
  readonly offset: number;
  readonly length: number;
  readonly path: string;
  readonly title: string;
  readonly clause: string;
  readonly value?: string;
  readonly diagnostic?: string;
  readonly problem?: string;
  readonly children?: readonly RegionShown[];
}

export interface Anatomy {
  readonly file: string;
  readonly size_bytes: number;
  readonly regions: readonly RegionShown[];
  readonly diagnostic: string;
}

export interface StepShown {
  readonly step: string;
  readonly number: number;
  readonly outcome: string;
  readonly asks?: string;
  readonly comparisons: readonly {
    readonly what: string;
    readonly expected?: string | null;
    readonly found?: string | null;
    readonly ok: boolean | null;
    readonly source: string;
  }[];
}

export interface RefusalShown {
  readonly code: string;
  readonly step: string;
  readonly says: string;
  readonly meaning: string;
  readonly next: string;
}

export interface SlotShown {
  readonly name: string;
  readonly state: string;
  readonly sequence_number: number | string | null;
}

export interface DrawnRegion {
  readonly name: string;
  readonly address: number;
  readonly offset: number;
  readonly size: number;
  readonly cells: string;
}

export interface Play {
  readonly play: string;
  readonly name: string;
  readonly shown: {
    readonly serial: string;
    readonly class: string;
    readonly scheme: string;
    readonly running: string | null;
    readonly slots: readonly SlotShown[];
    readonly floors: { readonly sequence_number: number | string; readonly security_version: number } | null;
    readonly wear: { readonly most: number; readonly endurance: number };
  };
  readonly flash: readonly DrawnRegion[];
  readonly memory: {
    readonly shape: string;
    readonly slots: readonly { readonly name: string }[];
    readonly flash: { readonly erase_page: number };
  };
}

/** What a unit was asked and answered, and what that was worth. */
export interface ChallengeMade {
  readonly nonce: string;
  readonly challenge: string;
  readonly expires: string;
}

export interface AnswerShown {
  readonly token: string | null;
  readonly refusal: { readonly code: string; readonly says: string; readonly next: string } | null;
  readonly size_bytes?: number;
  readonly container?: string;
}

export interface AppraisalShown {
  readonly verdict: 'genuine' | 'refused' | 'incomplete';
  readonly refusal: RefusalShown | null;
  readonly claims: readonly {
    readonly claim: string;
    readonly result: 'holds' | 'fails' | 'not judged';
    readonly detail: string;
  }[];
  readonly sender: { readonly class: string; readonly serial: string; readonly proved_by: string } | null;
  readonly release: { readonly version: string; readonly sequence_number: string } | null;
  readonly limits: readonly string[];
  readonly cautions: readonly string[];
}

export interface Stroke {
  readonly kind: 'erase' | 'program';
  readonly offset: number;
  readonly length: number;
  readonly operations: number;
  readonly before: number;
}

export interface PlayOutcome {
  readonly cut: boolean;
  readonly cut_at: number | null;
  readonly operations: number;
  readonly verdict: string | null;
  readonly refusal: RefusalShown | null;
  readonly steps: readonly StepShown[];
  readonly started: {
    readonly slot: number | string;
    readonly state: string;
    readonly version: string | null;
  } | null;
  readonly strokes: readonly Stroke[];
  readonly unit: Play;
}

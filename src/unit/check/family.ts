import { type ByteSource, slice, toHex } from '../../bytes/index.ts';
import {
  type DependencyOutcome,
  dependencyMatches,
  type Envelope,
  type Manifest,
  type Outcome,
  openDependency,
  type Parameters,
  type SuitDigest,
  type TargetComponent,
} from '../../suit/index.ts';
import type { SignerFacts } from '../facts.ts';
import { UNIT_LIMITS } from '../limits.ts';
import { prepareRecord } from '../prepared.ts';
import { type Comparison, Trace } from '../trace.ts';
import { attemptOf } from '../verdict.ts';
import type { Circumstances } from './condition-rows.ts';
import { judgeEnvelope } from './envelope.ts';
import { judgeSeals } from './seals.ts';
import type { SignerRules } from './signer-path.ts';
import type { Vouched } from './vouched.ts';

const FETCH = 21;

/** A manifest that another one depends on, authentic and read. */
export interface Member {
  /** The component that holds its envelope. */
  readonly component: TargetComponent;
  readonly envelope: Envelope;
  readonly manifest: Manifest;
  readonly vouched: Vouched;
  /** Undefined for a MAC. */
  readonly signer: SignerFacts | undefined;
  /** What its conditions are judged against. */
  readonly circumstances: Circumstances;
}

/** Why a dependency was not taken. */
export interface FamilyFailure {
  readonly reason: 'dependency-missing' | 'dependency-wrong' | 'dependency-not-authentic' | (string & {});
  readonly detail: string;
  /** What was compared on the way. */
  readonly lines: readonly Comparison[];
}

/** Where the envelopes of dependencies come from: out of the dependent's, from outside, or from what was kept. */
export interface FamilySources {
  readonly root: Envelope;
  readonly manifest: Manifest;
  readonly supplied?: readonly ByteSource[] | undefined;
  readonly kept?: boolean | undefined;
}

/**
 * The manifests that a manifest depends on, as one decision meets them: fetched by the commands of the manifest itself,
 * judged by the unit's rules for signers, each once, and all of them before anything else is done with the manifest
 * (draft-ietf-suit-trust-domains sections 3, 5.1 and 5.6.4).
 */
export class Family {
  readonly #circumstances: Circumstances;
  readonly #rules: SignerRules;
  readonly #outside: readonly ByteSource[];
  readonly #envelopes = new Map<Manifest, Envelope>();
  readonly #held = new Map<string, ByteSource>();
  readonly #slices = new Map<object, ByteSource>();
  readonly #members = new Map<ByteSource, Member>();
  readonly #byManifest = new Map<Manifest, Member>();
  #complete = false;
  #failure: FamilyFailure | undefined;

  constructor(
    { root, manifest, supplied = [], kept }: FamilySources,
    circumstances: Circumstances,
    rules: SignerRules,
  ) {
    this.#circumstances = circumstances;
    this.#rules = { ...rules, purpose: 'release', dependency: true };
    this.#envelopes.set(manifest, root);
    this.#outside = kept ? [...root.integrated.values()].map((part) => this.#cut(root, part)) : supplied;
  }

  /** In the order in which they were met. */
  get members(): readonly Member[] {
    return [...this.#members.values()];
  }

  /** The last dependency that was not taken, and why. */
  get failure(): FamilyFailure | undefined {
    return this.#failure;
  }

  /** From now on no dependency is taken that was not judged before. */
  complete(): void {
    this.#complete = true;
  }

  /** The envelope that a manifest came in. */
  envelopeOf(manifest: Manifest): Envelope | undefined {
    return this.#envelopes.get(manifest);
  }

  /** What the conditions of a manifest are judged against. */
  circumstancesOf(manifest: Manifest): Circumstances {
    return this.#byManifest.get(manifest)?.circumstances ?? this.#circumstances;
  }

  /** Fetch brings an envelope into the component; nothing else may be done to one. */
  directive(code: number, component: TargetComponent, parameters: Parameters): Outcome {
    if (code !== FETCH) return { ok: false, reason: 'host', detail: 'an envelope is fetched, never changed' };
    const uri = parameters.get(21)!;
    const issued = this.#envelopes.get(component.issuer.manifest);
    const part = issued?.integrated.get(uri);
    const digest = parameters.get(3);
    const source = issued && part ? this.#cut(issued, part) : this.#fromOutside(digest);
    if (!source)
      return this.#fail({ reason: 'dependency-missing', detail: `${uri} is not at hand`, lines: [] });
    this.#held.set(nameOf(component), source);
    return { ok: true };
  }

  /** Image-match on a component that holds an envelope (draft-ietf-suit-trust-domains section 5.2.2). */
  imageMatch(component: TargetComponent, parameters: Parameters): Outcome {
    const digest = parameters.get(3)!;
    const source = this.#sourceOf(component, digest);
    if (source) return dependencyMatches(source, digest, this.#extensions);
    return { ok: false, reason: 'dependency-missing', detail: 'the component holds no envelope' };
  }

  /** Dependency-integrity: the port of the manifest processor. */
  dependency(component: TargetComponent, parameters: Parameters): DependencyOutcome {
    const digest = parameters.get(3)!;
    const source = this.#sourceOf(component, digest);
    if (!source)
      return this.#fail({
        reason: 'dependency-missing',
        detail: 'the component holds no envelope',
        lines: [],
      });
    const known = this.#members.get(source);
    if (!known && this.#complete) {
      const detail = 'a dependency that dependency-resolution did not bring and check';
      return this.#fail({ reason: 'dependencies-not-followed', detail, lines: [] });
    }
    return known ? this.#again(known, source, digest) : this.#open(component, source, digest);
  }

  get #extensions() {
    return prepareRecord(this.#circumstances.unit.record).extensions;
  }

  #again(member: Member, source: ByteSource, digest: SuitDigest): DependencyOutcome {
    const matches = dependencyMatches(source, digest, this.#extensions);
    return matches.ok ? { ok: true, manifest: member.manifest } : { ...matches, ok: false };
  }

  #open(component: TargetComponent, source: ByteSource, digest: SuitDigest): DependencyOutcome {
    if (this.#members.size >= UNIT_LIMITS.dependencies.value) {
      const detail = `more than ${UNIT_LIMITS.dependencies.value} dependencies`;
      return this.#fail({ reason: 'dependencies-not-followed', detail, lines: [] });
    }
    const aside = new Trace(['envelope', 'signer', 'authentication']);
    let vouched: Vouched | undefined;
    let opened: Envelope | undefined;
    const outcome = openDependency(source, digest, this.#extensions, (envelope) => {
      opened = envelope;
      const { unit } = this.#circumstances;
      const attempt = attemptOf(() =>
        judgeSeals(aside, judgeEnvelope(aside, source, this.#extensions), unit, this.#rules),
      );
      if (attempt.ok) vouched = attempt.value;
      if (attempt.ok) return { ok: true };
      return { ok: false, reason: 'dependency-not-authentic', detail: attempt.refusal.code };
    });
    if (!outcome.ok) {
      const lines = aside.steps.flatMap(({ comparisons }) => comparisons);
      return this.#fail({ reason: outcome.reason, detail: outcome.detail, lines });
    }
    this.#take(source, {
      component,
      envelope: opened!,
      manifest: outcome.manifest,
      vouched: vouched!,
      signer: aside.facts.signer,
    });
    return outcome;
  }

  #take(source: ByteSource, opened: Omit<Member, 'circumstances'>): void {
    const { signer, manifest, envelope } = opened;
    const { authors } = prepareRecord(this.#circumstances.unit.record);
    const author = signer && authors?.get(signer.anchor);
    const circumstances = author ? { ...this.#circumstances, author } : this.#circumstances;
    const member = { ...opened, circumstances };
    this.#envelopes.set(manifest, envelope);
    this.#members.set(source, member);
    this.#byManifest.set(manifest, member);
  }

  #sourceOf(component: TargetComponent, digest: SuitDigest): ByteSource | undefined {
    return this.#held.get(nameOf(component)) ?? this.#fromOutside(digest);
  }

  #fromOutside(digest: SuitDigest | undefined): ByteSource | undefined {
    if (!digest) return undefined;
    return this.#outside.find((source) => dependencyMatches(source, digest, this.#extensions).ok);
  }

  /** The same part is the same source each time. */
  #cut({ source }: Envelope, part: { readonly offset: number; readonly length: number }): ByteSource {
    const known = this.#slices.get(part);
    if (known) return known;
    const fresh = slice(source, part.offset, part.length);
    this.#slices.set(part, fresh);
    return fresh;
  }

  #fail(failure: FamilyFailure): { ok: false; reason: string; detail: string } {
    this.#failure = failure;
    return { ok: false, reason: failure.reason, detail: failure.detail };
  }
}

function nameOf({ identifier }: TargetComponent): string {
  return identifier.map(toHex).join('.');
}

import { toHex } from '../bytes/index.ts';
import { fingerprint } from '../x509/index.ts';
import type { AuthenticationFacts, DeltaFacts, DependencyFacts, Facts, SignerFacts } from './facts.ts';
import type { Refusal } from './refusals.ts';
import type { StepName } from './steps.ts';
import { type CheckStep, type Comparison, Refused, shownText, Trace } from './trace.ts';

/** Format of a verdict as JSON and its version. */
const CHECK_FORMAT = 'fieldseal.check/1';

/** What was asked: would this unit take it, or is it authentic at all. */
export type Scope = 'unit' | 'authenticity';

/** The answer. `incomplete`: nothing was refuted, but something that the answer needs was not there. */
export type Answer = 'accepted' | 'refused' | 'incomplete';

/** The outcome of a decision, with everything that was compared on the way. */
export interface Verdict {
  readonly verdict: Answer;
  readonly scope: Scope;
  readonly refusal: Refusal | null;
  readonly steps: readonly CheckStep[];
  readonly facts: Readonly<Facts>;
}

/**
 * Runs a decision and gives its verdict. `body` enters the steps in order and writes down what it compares; a
 * refusal ends it. Other errors (a broken program, a broken disk, a cut in power) pass through.
 */
export function decide(scope: Scope, steps: readonly StepName[], body: (trace: Trace) => void): Verdict {
  const trace = new Trace(steps);
  const refusal = refusalRaisedBy(() => body(trace));
  if (!refusal) trace.close();
  const answer = trace.incomplete ? 'incomplete' : 'accepted';
  return { verdict: refusal ? 'refused' : answer, scope, refusal, steps: trace.steps, facts: trace.facts };
}

/** The refusal that ends `body`, or null where it comes to its end. */
export function refusalRaisedBy(body: () => void): Refusal | null {
  const attempt = attemptOf(body);
  return attempt.ok ? null : attempt.refusal;
}

/** What `body` gives, or the refusal that ends it. Other errors pass through. */
export function attemptOf<T>(
  body: () => T,
): { readonly ok: true; readonly value: T } | { readonly ok: false; readonly refusal: Refusal } {
  try {
    return { ok: true, value: body() };
  } catch (error) {
    if (error instanceof Refused) return { ok: false, refusal: error.refusal };
    throw error;
  }
}

/** A verdict as JSON-ready data, in the documented shape of `fieldseal.check/1`: snake_case, bytes as hexadecimal. */
export function toJson(verdict: Verdict): Record<string, unknown> {
  const { refusal } = verdict;
  return {
    format: CHECK_FORMAT,
    scope: verdict.scope,
    verdict: verdict.verdict,
    refusal: refusal && {
      code: refusal.code,
      step: refusal.step,
      says: refusal.says,
      meaning: refusal.meaning,
      next: refusal.next,
      source: refusal.source,
    },
    steps: verdict.steps.map(({ step, number, outcome, comparisons }) => ({
      step,
      number,
      outcome,
      comparisons: comparisons.map(comparisonJson),
    })),
    facts: factsJson(verdict.facts),
  };
}

function comparisonJson({ what, expected, found, ok, source }: Comparison): Record<string, unknown> {
  return {
    what,
    ...(expected === undefined ? {} : { expected: shownText(expected) }),
    ...(found === undefined ? {} : { found: shownText(found) }),
    ok,
    source,
  };
}

function factsJson(facts: Facts): Record<string, unknown> {
  const { signer, images } = facts;
  return {
    manifest_digest: hexOrNull(facts.manifestDigest),
    algorithm: facts.algorithm ?? null,
    signer: signer ? signerJson(signer) : null,
    mac_key_id: facts.macKeyId ?? null,
    authentications: (facts.authentications ?? []).map(authenticationJson),
    sequence_number: integerOrNull(facts.sequenceNumber),
    security_version: facts.securityVersion ?? null,
    version: facts.version ?? null,
    images: (images ?? []).map(({ digest, size, component }) => ({
      ...(component !== undefined && { component }),
      digest: toHex(digest),
      size_bytes: size ?? null,
    })),
    ...(facts.dependencies && { dependencies: facts.dependencies.map(dependencyJson) }),
    slot: facts.slot ?? null,
    effect: facts.effect ?? null,
    delta: facts.delta ? deltaJson(facts.delta) : null,
    ...(facts.trust && { trust: trustJson(facts.trust) }),
    warnings: facts.warnings,
  };
}

function deltaJson({ digest, size, window, precursor }: DeltaFacts) {
  return {
    digest: toHex(digest),
    size_bytes: size,
    window_bytes: window,
    precursor: { digest: toHex(precursor.digest), size_bytes: precursor.size },
  };
}

function trustJson(trust: NonNullable<Facts['trust']>): Record<string, unknown> {
  return {
    rank: trust.rank,
    minimum_generation: trust.minimumGeneration,
    denied: trust.denied,
    retired_roots: trust.retired,
    security_version: trust.securityVersion,
  };
}

function dependencyJson({ component, manifestDigest, sequenceNumber, version, signer }: DependencyFacts) {
  return {
    component,
    manifest_digest: toHex(manifestDigest),
    sequence_number: integerOrNull(sequenceNumber),
    version: version ?? null,
    signer: signer ? signerJson(signer) : null,
  };
}

function authenticationJson({ block, algorithm, signer, macKeyId }: AuthenticationFacts) {
  return {
    block: block + 1,
    algorithm,
    signer: signer ? signerJson(signer) : null,
    mac_key_id: macKeyId ?? null,
  };
}

function signerJson({ certificate, anchor }: SignerFacts): Record<string, unknown> {
  return {
    subject: certificate.subject.text,
    fingerprint: fingerprint(certificate.spki),
    role: certificate.role ?? null,
    generation: certificate.generation ?? 0,
    scope: certificate.subjectAltUris,
    not_after: certificate.notAfter?.toISOString() ?? null,
    trial: certificate.trial,
    anchor,
  };
}

/** A number where JSON keeps it exactly, decimal text beyond 2^53. */
function integerOrNull(value: bigint | undefined): number | string | null {
  if (value === undefined) return null;
  return value <= Number.MAX_SAFE_INTEGER ? Number(value) : String(value);
}

function hexOrNull(bytes: Uint8Array | undefined): string | null {
  return bytes ? toHex(bytes) : null;
}

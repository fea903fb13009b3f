import type { ByteSource } from '../../bytes/index.ts';
import type { InstallPlan, InstallRequest, TrustPlan } from '../ports.ts';
import { prepareRecord } from '../prepared.ts';
import type { UnitView } from '../state.ts';
import type { StepName } from '../steps.ts';
import type { Trace } from '../trace.ts';
import { decide, type Verdict } from '../verdict.ts';
import { judgeAccess } from './access.ts';
import type { Circumstances } from './condition-rows.ts';
import { type ContentSubject, isAtHand, judgeContent } from './content.ts';
import { judgeMade } from './delta.ts';
import { judgeDependencies } from './dependencies.ts';
import { judgeCiphertext, judgeDecrypted } from './encryption.ts';
import { judgeEnvelope } from './envelope.ts';
import { judgeFit } from './fit.ts';
import { judgeFreshDependencies } from './fresh-dependencies.ts';
import { type Freshness, holderOf, judgeFreshness } from './freshness.ts';
import { judgeIdentity } from './identity.ts';
import { judgeImage } from './image.ts';
import { keptEnvelope } from './kept-envelope.ts';
import { judgeManifest } from './manifest.ts';
import { judgeMessage } from './message.ts';
import { asksForPrecursor, judgePrecursor, precursorIn } from './precursor.ts';
import { judgePurpose } from './purpose.ts';
import { judgeSeals } from './seals.ts';
import { judgeTrustUpdate } from './trust-update.ts';

const CHECK_STEPS: readonly StepName[] = [
  'envelope',
  'signer',
  'authentication',
  'manifest',
  'freshness',
  'identity',
  'fit',
  'content',
  'image',
];

const IMAGE_SOURCE = 'draft-ietf-suit-manifest 8.4.9.2';

/** An envelope, perhaps its detached image, and the unit that is asked. */
export interface CheckRequest extends InstallRequest {
  readonly unit: UnitView;
}

/**
 * What a unit would say to an envelope, steps 1 to 9, without changing anything. `incomplete` where nothing was
 * refuted but a detached image was not supplied. Dates are judged where the unit has a clock and `now` is given.
 */
export function checkForUnit(request: CheckRequest): Verdict {
  return decide('unit', CHECK_STEPS, (trace) => {
    const plan = judgeInstall(trace, request, request.unit);
    if ('trust' in plan) return skipImage(trace, 'the policy stands in the manifest, under its signature');
    const { digest } = plan.image;
    try {
      if (isWhole(plan)) return judgeOffered(trace, plan);
    } finally {
      plan.ciphertext?.content.key.fill(0);
    }
    if (plan.effect === 'already there') return skipImage(trace);
    trace.enter('image');
    trace.lacks({
      what: 'SHA-256 of the image',
      expected: digest,
      found: 'no image at hand',
      source: IMAGE_SOURCE,
    });
  });
}

/** Whether every image is at hand. */
export function isWhole({ image, further = [] }: InstallPlan): boolean {
  return [image, ...further].every(({ source }) => source !== undefined);
}

/** Steps 8 and 9 for an image at hand: an encrypted one is decrypted, and one by delta is made, to nowhere. */
export function judgeOffered(trace: Trace, { image, ciphertext, delta, further = [] }: InstallPlan): void {
  const source = image.source!;
  if (delta) judgeMade(trace, delta, source);
  else if (ciphertext) {
    judgeCiphertext(trace, ciphertext, source);
    judgeDecrypted(trace, ciphertext, source);
  } else judgeImage(trace, image, source);
  for (const each of further) judgeImage(trace, each, each.source!);
}

function skipImage(trace: Trace, found = 'on board already; nothing would be fetched'): void {
  for (const step of ['content', 'image'] as const) {
    trace.skip(step, {
      what: 'image',
      found,
      source: 'docs/deployment-profile.md',
    });
  }
}

/**
 * Steps 1 to 7, and what step 8 can judge before anything is written. Changes nothing. Ends the decision with a
 * refusal of the trace, or gives what to do; step 8 is open then, unless the manifest is on board already.
 */
export function judgeInstall(trace: Trace, request: InstallRequest, unit: UnitView): InstallPlan | TrustPlan {
  const at = unit.record.clock ? request.now : undefined;
  const rules = { at, revocation: true };
  const { extensions } = prepareRecord(unit.record);
  const opened = judgeEnvelope(trace, judgeMessage(trace, request.envelope, unit, rules), extensions);
  const { envelope } = opened;
  const { headers, blocks, signers, trust } = judgeSeals(trace, opened, unit, rules);
  const manifest = judgeManifest(trace, envelope, unit.record);
  judgePurpose(trace, manifest, trust !== undefined);
  if (trust) return judgeTrustUpdate(trace, { envelope, manifest, rank: trust }, unit, at);
  judgeAccess(trace, manifest, signers, unit);
  const precursor = unit.precursor && precursorIn(unit.precursor);
  const circumstances = { unit, slot: targetSlot(unit, envelope.digest.bytes), at, precursor };
  const dependent = { envelope, manifest, supplied: request.dependencies };
  const family = judgeDependencies(trace, dependent, circumstances, rules);
  const { sequenceNumber } = manifest;
  const candidate = { manifestDigest: envelope.digest.bytes, sequenceNumber, headers };
  const freshness = judgeFreshness(trace, candidate, unit);
  if (family) judgeFreshDependencies(trace, family, unit);
  judgeIdentity(trace, manifest, circumstances, family);
  const kept = keptEnvelope(envelope, blocks, family);
  const images = judgeFit(trace, manifest, circumstances, kept.size, family);
  noteEffect(trace, freshness, circumstances);
  const { effect } = freshness;
  const subject = { envelope, manifest, images, family };
  const wanted = wantsContent(trace, effect, subject, circumstances, request.image);
  const content = wanted ? judgeContent(trace, subject, circumstances, request) : undefined;
  const [image, ...further] = images;
  return {
    effect,
    sequenceNumber,
    manifestDigest: envelope.digest.bytes,
    image: { size: image.size, digest: image.digest, source: content?.source },
    ...(further.length > 0 && {
      further: further.map(({ size, digest }, i) => ({ size, digest, source: content?.further[i] })),
    }),
    ciphertext: content?.ciphertext,
    delta: content?.delta,
    storedEnvelope: kept.bytes,
  };
}

/**
 * Whether what comes with the manifest is looked at. What is on board already needs nothing; an image that came along all
 * the same is judged, so that a forgery is told. A delta alone is not: what it is applied to may be gone by then.
 */
function wantsContent(
  trace: Trace,
  effect: InstallPlan['effect'],
  subject: ContentSubject,
  circumstances: Circumstances,
  supplied: ByteSource | undefined,
): boolean {
  const { envelope, manifest } = subject;
  const onBoard = effect === 'already there';
  if (!asksForPrecursor(manifest, circumstances))
    return !onBoard || supplied !== undefined || envelope.integrated.size > 0;
  if (!onBoard) {
    judgePrecursor(trace, subject, circumstances, (payload) => isAtHand(payload, envelope, supplied));
  }
  return !onBoard || supplied !== undefined;
}

/** The slot that holds the manifest already, or else the one that does not run: the staging area where there is one. */
function targetSlot({ record, state }: UnitView, manifestDigest: Uint8Array): number {
  const slot = holderOf(state, manifestDigest);
  if (slot >= 0) return slot;
  return record.memory.shape === 'staged' || state.running === 0 ? 1 : 0;
}

function noteEffect(trace: Trace, { effect }: Freshness, { unit, slot }: Circumstances): void {
  trace.facts.effect = effect;
  trace.facts.slot = unit.record.memory.slots[slot]!.name;
}

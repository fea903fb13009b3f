import type { ByteSource } from '../bytes/index.ts';
import {
  ALL_EXTENSIONS,
  type Envelope,
  type Manifest,
  openEnvelope,
  SHA_256,
  type SuitDigest,
  SuitError,
} from '../suit/index.ts';
import type { StepName, UnitRecord, Verdict } from '../unit/index.ts';
import { failure, finished, NOTHING_NAMED, pending, type ReportOptions } from './finish.ts';
import { claimOf, type UnitMemory } from './memory.ts';
import { reportAbout } from './of-life.ts';
import { UNFINISHED } from './outcomes.ts';
import { fetchPlace, placeOf, readManifestOf } from './places.ts';
import type { PropertyClaim, SuitReport } from './report.ts';

/**
 * The report of a decision about an envelope ([RPT] section 4). What was installed has not run yet: pending. `memory`: the
 * unit afterwards. The manifest is looked into only where the decision vouches for it.
 */
export function reportOfInstall(
  verdict: Verdict,
  offered: ByteSource,
  memory: UnitMemory,
  options: ReportOptions = {},
): SuitReport {
  const { facts, refusal } = verdict;
  const { record } = memory;
  const envelope = shellOf(offered);
  const digest = envelope ? named(envelope) : inMessage(verdict);
  const isKnown = facts.effect === 'already there' && !refusal;
  const remembered = isKnown ? reportAbout(memory, digest.bytes, options) : undefined;
  if (remembered) return remembered;
  const manifest = envelope && passed(verdict, 'manifest') ? readManifestOf(envelope) : undefined;
  const told = { record, reference: { uri: manifest?.referenceUri ?? '', digest } };
  if (refusal) {
    const place = placeOf(refusal.code, manifest, facts.failedAt);
    return finished({ ...told, result: failure(refusal.code, place, verdict.steps, record) }, options);
  }
  if (verdict.verdict === 'incomplete') {
    return finished({ ...told, result: { ...UNFINISHED, record: fetchPlace(manifest) } }, options);
  }
  const claims = manifest && passed(verdict, 'commit') ? readBack(verdict, manifest, record) : [];
  return finished({ ...told, claims, result: pending(manifest) }, options);
}

function passed({ steps }: Verdict, name: StepName): boolean {
  return steps.some(({ step, outcome }) => step === name && outcome === 'passed');
}

/** Element 0 of the wrapper as it came, whether or not the manifest matches it ([RPT] section 4). */
function named({ digest: { algorithm, bytes } }: Envelope): SuitDigest {
  return { algorithm, bytes };
}

/** The same of an envelope that came encrypted, and was opened; nothing where there was none. */
function inMessage({ facts: { manifestDigest } }: Verdict): SuitDigest {
  return manifestDigest ? { algorithm: SHA_256, bytes: manifestDigest } : NOTHING_NAMED.digest;
}

/** Undefined where the bytes are no envelope. */
function shellOf(offered: ByteSource): Envelope | undefined {
  try {
    return openEnvelope(offered, undefined, ALL_EXTENSIONS);
  } catch (error) {
    if (error instanceof SuitError) return undefined;
    throw error;
  }
}

/** What step 9 read back from the slot; from a staging area it may have been a ciphertext. */
function readBack({ facts }: Verdict, manifest: Manifest, { memory }: UnitRecord): PropertyClaim[] {
  const slot = memory.slots.findIndex(({ name }) => name === facts.slot);
  const [image] = facts.images ?? [];
  if (memory.shape === 'staged' || slot < 0 || image?.size === undefined) return [];
  return [claimOf(manifest, { slot, size: image.size, digest: image.digest })];
}

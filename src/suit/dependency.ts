import { type ByteSource, equal } from '../bytes/index.ts';
import { SHA_256, type SuitDigest } from './digest.ts';
import { type Envelope, manifestDigestMatches, openEnvelope } from './envelope.ts';
import { SuitError } from './errors.ts';
import { SUIT_LIMITS } from './limits.ts';
import type { DependencyOutcome } from './machine/host.ts';
import type { Outcome } from './machine/outcome.ts';
import { readManifest } from './manifest.ts';
import type { Extensions } from './tables/index.ts';

/**
 * What a host does for dependency-integrity ([TD] section 5.6.4): opens the envelope, compares its digest with the
 * dependent's parameter 3, its manifest with its digest, has `authenticate` judge its blocks, and only then reads the
 * manifest. Where a policy lets the digest alone vouch for it ([TD] section 5.1), `authenticate` says so. A verdict,
 * never an exception on data.
 */
export function openDependency(
  source: ByteSource,
  digest: SuitDigest,
  extensions: Extensions,
  authenticate: (envelope: Envelope) => Outcome,
): DependencyOutcome {
  return judged(() => {
    const envelope = openEnvelope(source, SUIT_LIMITS, extensions);
    if (!namesManifest(digest, envelope)) return WRONG;
    const authentic = authenticate(envelope);
    if (!authentic.ok) return authentic;
    const { manifest, manifestStart, severed } = envelope;
    return { ok: true, manifest: readManifest(manifest, { base: manifestStart, severed, extensions }) };
  });
}

/**
 * Image-match on a component that is a dependency: the digest is that of the manifest with its byte string header,
 * which is element 0 of the wrapper, not that of the component's bytes ([TD] section 5.2.2).
 */
export function dependencyMatches(source: ByteSource, digest: SuitDigest, extensions: Extensions): Outcome {
  return judged<Outcome>(() => {
    const envelope = openEnvelope(source, SUIT_LIMITS, extensions);
    return namesManifest(digest, envelope) ? { ok: true } : WRONG;
  });
}

function namesManifest({ algorithm, bytes }: SuitDigest, envelope: Envelope): boolean {
  const same = algorithm === SHA_256 && envelope.digest.algorithm === algorithm;
  return same && equal(envelope.digest.bytes, bytes) && manifestDigestMatches(envelope);
}

const WRONG = {
  ok: false,
  reason: 'dependency-wrong',
  detail: 'the envelope in the component holds another manifest than the one whose digest was set',
} as const;

function judged<T>(judge: () => T): T | { ok: false; reason: string; detail: string } {
  try {
    return judge();
  } catch (error) {
    if (!(error instanceof SuitError)) throw error;
    return { ok: false, reason: error.code, detail: `dependency, byte ${error.offset}: ${error.message}` };
  }
}

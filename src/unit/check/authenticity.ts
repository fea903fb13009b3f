import { type ByteSource, toHex } from '../../bytes/index.ts';
import { LABEL, signatureAlgorithm } from '../../cose/index.ts';
import type { PublicKey } from '../../crypto/index.ts';
import { isPublishedExampleKey, isPublishedExampleSecret } from '../../x509/index.ts';
import type { StepName } from '../steps.ts';
import type { Trace } from '../trace.ts';
import { decide, type Verdict } from '../verdict.ts';
import { type JudgedSeal, judgeAuthentication } from './authentication.ts';
import { judgeEnvelope, type OpenedEnvelope } from './envelope.ts';
import { judgeStrangersManifest } from './manifest.ts';
import { macsOf, protectedAlgorithm, signaturesOf } from './seal.ts';
import { judgeStrangersContent } from './strangers-content.ts';

const STEPS: readonly StepName[] = [
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
/** ESP256, Ed25519, HSS/LMS, and the legacy ids ES256 and EdDSA (RFC 9864 2, RFC 8778, RFC 9053 2). */
const SIGNATURE_ALGORITHMS = [-9, -19, -46, -7, -8];
/** HMAC 256/256 (RFC 9053 section 3.1). */
const MAC_ALGORITHMS = [5];

/** A stranger's envelope, perhaps an image that was delivered beside it, and the key that should have sealed it. */
export interface AuthenticityRequest {
  readonly envelope: ByteSource;
  readonly image?: ByteSource | undefined;
  /** A public key for signatures, or the bytes of a secret key for MACs; one is never taken for the other. */
  readonly key: PublicKey | Uint8Array;
}

/**
 * Whether an envelope is authentic under one key, with no unit in sight: who the key belongs to, freshness, identity
 * and fit are not judged and block nothing. Legacy algorithms are taken, with a warning. `accepted` where the seal
 * verifies and every image that the manifest names was there and is right; `incomplete` where nothing was refuted
 * but an image, or our ability to follow the manifest, was missing.
 */
export function checkAuthenticity({ envelope: source, image, key }: AuthenticityRequest): Verdict {
  return decide('authenticity', STEPS, (trace) => {
    const opened = judgeEnvelope(trace, source);
    noteKey(trace, key);
    const judged = key instanceof Uint8Array ? macUnder(key, opened) : signatureUnder(key, opened);
    const algorithms = key instanceof Uint8Array ? MAC_ALGORITHMS : algorithmsOf(key);
    judgeAuthentication(trace, opened, judged, algorithms);
    warn(trace, judged!);
    const manifest = judgeStrangersManifest(trace, opened.envelope);
    for (const step of ['freshness', 'identity', 'fit'] as const) notJudged(trace, step);
    if (manifest) return judgeStrangersContent(trace, opened.envelope, manifest, image);
    for (const step of ['content', 'image'] as const) notJudged(trace, step);
  });
}

/** The key was given, so whether its holder may seal is the asker's to know. */
function noteKey(trace: Trace, key: PublicKey | Uint8Array): void {
  trace.skip('signer', {
    what: 'key given',
    found: () => (key instanceof Uint8Array ? 'a secret MAC key' : `fingerprint ${key.fingerprint}`),
    source: 'docs/deployment-profile.md',
  });
  const published =
    key instanceof Uint8Array ? isPublishedExampleSecret(key) : isPublishedExampleKey(key.spki);
  if (!published) return;
  const warning =
    'the key is a published example key: everybody can seal with it, so the seal proves nothing';
  trace.facts.warnings.push(warning);
}

/** All signature algorithms that the key can be used with, legacy ones too. */
function algorithmsOf(key: PublicKey): number[] {
  return SIGNATURE_ALGORITHMS.filter((id) => signatureAlgorithm(id)?.keyType === key.type);
}

/** The signature that the key made, or else the one that comes nearest to it. */
function signatureUnder(key: PublicKey, { envelope, blocks }: OpenedEnvelope): JudgedSeal | undefined {
  const seals = signaturesOf(blocks);
  const allowed = algorithmsOf(key);
  const fitting = seals.filter(({ headers }) => allowed.includes(protectedAlgorithm(headers) ?? Number.NaN));
  const verifies = fitting.find((seal) => seal.verify(key, envelope.digest.encoded).ok);
  const seal = verifies ?? fitting[0] ?? seals[0];
  return seal && { kind: 'signature', seal, key };
}

/** The MAC that the key made, or else the first. */
function macUnder(key: Uint8Array, { envelope, blocks }: OpenedEnvelope): JudgedSeal | undefined {
  const seals = macsOf(blocks);
  const seal = seals.find((each) => each.verify(key, envelope.digest.encoded).ok) ?? seals[0];
  if (!seal) return undefined;
  const kid = seal.headers.get(LABEL.kid);
  const id = kid?.type === 'bytes' ? toHex(kid.value) : 'given';
  return { kind: 'mac', seal, keys: [{ id, key }] };
}

function warn(trace: Trace, judged: JudgedSeal): void {
  const id = protectedAlgorithm(judged.seal.headers);
  const algorithm = id === undefined ? undefined : signatureAlgorithm(id);
  if (algorithm?.status !== 'legacy') return;
  const { name } = algorithm;
  trace.facts.warnings.push(
    `the signature uses ${name}, a legacy algorithm id: no unit takes it, seal again under a current one`,
  );
}

function notJudged(trace: Trace, step: StepName): void {
  trace.skip(step, {
    what: 'this step',
    found: 'not judged: no unit is asked',
    source: 'docs/deployment-profile.md',
  });
}

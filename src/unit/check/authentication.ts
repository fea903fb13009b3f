import {
  type CoseMessage,
  type CoseRefusal,
  type CoseVerdict,
  type Headers,
  LABEL,
  macAlgorithm,
  signatureAlgorithm,
} from '../../cose/index.ts';
import type { PublicKey } from '../../crypto/index.ts';
import type { AnchorPurpose } from '../record.ts';
import type { RefusalCode } from '../refusals.ts';
import type { Question, Trace } from '../trace.ts';
import type { OpenedEnvelope } from './envelope.ts';
import { type MacSeal, protectedAlgorithm, type SignatureSeal } from './seal.ts';

/** A MAC key with the id by which payloads name it, lower-case hexadecimal. */
export interface HeldKey {
  readonly id: string;
  readonly key: Uint8Array;
}

/** A signature and the key that must have made it. */
export interface JudgedSignature {
  readonly kind: 'signature';
  readonly seal: SignatureSeal;
  readonly key: PublicKey;
  /** Where the signer is one of trust updates: what kind of root stands above it. */
  readonly trust?: AnchorPurpose | undefined;
}

/** A seal and whatever must have made it. The two kinds of key never meet. */
export type JudgedSeal =
  | JudgedSignature
  | { readonly kind: 'mac'; readonly seal: MacSeal; readonly keys: readonly HeldKey[] };

const CODES: Readonly<Record<CoseRefusal, RefusalCode>> = {
  'alg-missing': 'algorithm-not-protected',
  'alg-unprotected': 'algorithm-not-protected',
  'alg-unsupported': 'algorithm-not-allowed',
  'key-mismatch': 'key-type-wrong',
  'key-too-short': 'key-type-wrong',
  'crit-malformed': 'header-critical-unknown',
  'crit-not-understood': 'header-critical-unknown',
  'payload-differs': 'signature-wrong',
  'recipient-unsupported': 'scheme-wrong',
  'signature-wrong': 'signature-wrong',
  'mac-wrong': 'mac-wrong',
};

/**
 * Step 3: the signature or MAC over the sealed digest, under an algorithm that is allowed here; the message never
 * widens the choice. Returns the headers that the seal vouches for. `algorithms`: COSE ids.
 * RFC 9052 sections 4.4 and 6.3, draft-ietf-suit-mti section 5.2.
 */
export function judgeAuthentication(
  trace: Trace,
  { envelope, blocks }: OpenedEnvelope,
  judged: JudgedSeal | undefined,
  algorithms: readonly number[],
): Headers {
  trace.enter('authentication');
  if (!judged) return refuseUnsealed(trace, blocks);
  const { headers } = judged.seal;
  judgeAlgorithm(trace, headers, algorithms);
  if (judged.kind === 'signature') judgeSignature(trace, judged, envelope.digest.encoded);
  else judgeMac(trace, judged, envelope.digest.encoded);
  return headers;
}

/** Refuses an envelope that has nothing of the scheme judged here. */
export function refuseUnsealed(trace: Trace, blocks: readonly CoseMessage[]): never {
  const none = blocks.length === 0;
  return trace.refuse(none ? 'authentication-missing' : 'scheme-wrong', {
    what: 'authentication blocks',
    expected: 'one of the scheme that is judged here',
    found: none ? 'none' : blocks.map(({ kind }) => kind).join(', '),
    source: 'draft-ietf-suit-manifest 8.3; draft-ietf-suit-mti 5.2',
  });
}

/** Whether the seal names its algorithm where it is protected, and one of `allowed`. Step `authentication` is open. */
export function judgeAlgorithm(trace: Trace, headers: Headers, allowed: readonly number[]): void {
  const question = {
    what: 'algorithm of the seal',
    expected: () => `${allowed.map(algorithmText).join(' or ')}, in the protected header`,
    source: 'draft-ietf-suit-mti 5.2; RFC 9052 3.1',
  };
  if (!headers.protectedGet(LABEL.alg)) {
    const found = headers.get(LABEL.alg) ? 'an algorithm in the unprotected header' : 'no algorithm';
    trace.refuse('algorithm-not-protected', question, found);
  }
  const id = protectedAlgorithm(headers);
  const found = id === undefined ? 'an algorithm that is no registered number' : algorithmText(id);
  trace.require(id !== undefined && allowed.includes(id), 'algorithm-not-allowed', question, found);
  trace.facts.algorithm = found;
}

/** Name and number of a COSE algorithm. */
export function algorithmText(id: number): string {
  const name = (signatureAlgorithm(id) ?? macAlgorithm(id))?.name;
  return name ? `${name} (${id})` : `algorithm ${id}`;
}

/** Whether the key made the signature over the digest. Step `authentication` is open. */
export function judgeSignature(trace: Trace, { seal, key }: JudgedSignature, digest: Uint8Array): void {
  requireVerified(trace, seal.verify(key, digest), {
    what: 'signature over the sealed digest',
    expected: () => `made by the key with fingerprint ${key.fingerprint}`,
    source: 'RFC 9052 4.4; draft-ietf-suit-manifest 8.3',
  });
}

/** Without a kid any key held may be the one; each is tried whole, so that time tells nothing. */
function judgeMac(trace: Trace, { seal, keys }: JudgedSeal & { kind: 'mac' }, digest: Uint8Array): void {
  const outcomes = keys.map(({ id, key }) => ({ id, outcome: seal.verify(key, digest) }));
  const good = outcomes.find(({ outcome }) => outcome.ok);
  requireVerified(trace, (good ?? outcomes[0]!).outcome, {
    what: 'MAC over the sealed digest',
    expected: () => `made with the key ${keys.map(({ id }) => id).join(' or ')}`,
    source: 'RFC 9052 6.3; draft-ietf-suit-manifest 8.3',
  });
  trace.facts.macKeyId = good!.id;
}

function requireVerified(trace: Trace, outcome: CoseVerdict<unknown>, question: Question): void {
  if (!outcome.ok) trace.refuse(CODES[outcome.code], question, outcome.detail);
  trace.holds(question, 'it verifies');
}

import { equal } from '../bytes/index.ts';
import {
  equalInConstantTime,
  hmacSha256,
  isSoundKey,
  type PublicKey,
  verifySignature,
} from '../crypto/index.ts';
import {
  type MacAlgorithm,
  macAlgorithm,
  type SignatureAlgorithm,
  signatureAlgorithm,
} from './algorithms.ts';
import type { Headers } from './headers.ts';
import { LABEL, type Label, labelOf } from './labels.ts';
import type { CoseSigner, Mac0Message, MacMessage, Sign1Message, SignMessage } from './message.ts';
import { macStructure, macStructure0, signStructure, signStructure1 } from './structures.ts';

const REFUSALS = {
  'alg-missing': 'the message names no algorithm',
  'alg-unprotected':
    'the algorithm stands in the unprotected header, where anyone can change it (RFC 9052 3.1)',
  'alg-unsupported': 'the algorithm is not one that this message may use here',
  'key-mismatch': 'the key is of another type than the algorithm needs, or held for another algorithm',
  'key-too-short': 'the MAC key is shorter than the algorithm asks for (RFC 9053 section 3.1)',
  'crit-malformed': 'crit is unprotected, or names a parameter that is not protected (RFC 9052 section 3.1)',
  'crit-not-understood': 'crit names a parameter that is not understood here (RFC 9052 section 3.1)',
  'payload-differs': 'the message carries a payload, and it is not the one to be verified',
  'recipient-unsupported':
    'the MAC key is conveyed in a way not supported here: only one direct recipient is',
  'signature-wrong': 'the signature does not fit message and key',
  'mac-wrong': 'the MAC does not fit message and key',
} as const;

/** Why a message was not verified. */
export type CoseRefusal = keyof typeof REFUSALS;

/** The outcome of a verification; a legacy algorithm is accepted and shows in `algorithm.status`. */
export type CoseVerdict<A> =
  | { readonly ok: true; readonly algorithm: A }
  | { readonly ok: false; readonly code: CoseRefusal; readonly detail: string };

/** What the application adds to a verification. */
export interface VerifyOptions {
  /** External data that was authenticated with the message (RFC 9052 section 4.3). Default none. */
  readonly externalAad?: Uint8Array;
  /** Labels that the caller processes, beyond alg, crit, content type and kid: crit may name them. */
  readonly understood?: readonly Label[];
  /**
   * The one algorithm that the caller holds this key for, as `alg` of a COSE_Key says it (RFC 9052 section 7.1): every other
   * is refused. Then, and only then, alg may stand unprotected, since whoever changes it gains nothing. Default: alg is
   * protected and fits the key's type.
   */
  readonly keyAlgorithm?: number;
}

const ALWAYS_UNDERSTOOD: readonly Label[] = [LABEL.alg, LABEL.crit, LABEL.contentType, LABEL.kid];
const DIRECT = -6;
const EVERYBODYS_KEY =
  'the key is an Ed25519 point of small order, or not in its own form: everybody can sign under it, so nothing counts';

/**
 * Verifies a COSE_Sign1 over `payload`, detached or the one it carries. RFC 9052 section 4.4; never throws on data.
 */
export function verifySign1(
  message: Sign1Message,
  key: PublicKey,
  payload: Uint8Array,
  options: VerifyOptions = {},
): CoseVerdict<SignatureAlgorithm> {
  if (payloadDiffers(message.payload, payload)) return refused('payload-differs');
  const algorithm = signingAlgorithm(message.headers, key, options);
  if (typeof algorithm === 'string') return refused(algorithm);
  const signed = signStructure1(message.headers.protectedBytes, payload, options.externalAad);
  return signatureVerdict(algorithm, key, signed, message.signature);
}

/**
 * Verifies one signer of a COSE_Sign over `payload`. RFC 9052 section 4.4; never throws on data, `TypeError` for a
 * signer that is not one of the message.
 */
export function verifySigner(
  message: SignMessage,
  signer: CoseSigner,
  key: PublicKey,
  payload: Uint8Array,
  options: VerifyOptions = {},
): CoseVerdict<SignatureAlgorithm> {
  if (!message.signers.includes(signer)) throw new TypeError('the signer is not one of this message');
  if (payloadDiffers(message.payload, payload)) return refused('payload-differs');
  const unmet = unmetCriticality(message.headers, options);
  if (unmet) return refused(unmet);
  const algorithm = signingAlgorithm(signer.headers, key, options);
  if (typeof algorithm === 'string') return refused(algorithm);
  const { protectedBytes } = signer.headers;
  const signed = signStructure(message.headers.protectedBytes, protectedBytes, payload, options.externalAad);
  return signatureVerdict(algorithm, key, signed, signer.signature);
}

/** Verifies a COSE_Mac0 over `payload` with the shared key. RFC 9052 section 6.3; never throws on data. */
export function verifyMac0(
  message: Mac0Message,
  key: Uint8Array,
  payload: Uint8Array,
  options: VerifyOptions = {},
): CoseVerdict<MacAlgorithm> {
  const authenticated = macStructure0(message.headers.protectedBytes, payload, options.externalAad);
  return macVerdict(message, key, payload, authenticated, options);
}

/**
 * Verifies a COSE_Mac whose one recipient holds the key already (direct, RFC 9053 section 6.1.1); other ways to
 * convey a key are refused. RFC 9052 section 6.3; never throws on data.
 */
export function verifyMac(
  message: MacMessage,
  key: Uint8Array,
  payload: Uint8Array,
  options: VerifyOptions = {},
): CoseVerdict<MacAlgorithm> {
  if (!isDirect(message)) return refused('recipient-unsupported');
  const unmet = unmetCriticality(message.recipients[0]!.headers, options);
  if (unmet) return refused(unmet);
  const authenticated = macStructure(message.headers.protectedBytes, payload, options.externalAad);
  return macVerdict(message, key, payload, authenticated, options);
}

function refused(code: CoseRefusal): { ok: false; code: CoseRefusal; detail: string } {
  return { ok: false, code, detail: REFUSALS[code] };
}

function payloadDiffers(carried: Uint8Array | null, expected: Uint8Array): boolean {
  return carried !== null && !equal(carried, expected);
}

function signingAlgorithm(
  headers: Headers,
  key: PublicKey,
  options: VerifyOptions,
): SignatureAlgorithm | CoseRefusal {
  const unmet = unmetCriticality(headers, options);
  if (unmet) return unmet;
  const algorithm = algorithmFor(headers, signatureAlgorithm, options);
  if (typeof algorithm === 'string') return algorithm;
  return algorithm.keyType === key.type ? algorithm : 'key-mismatch';
}

/** A text never names an algorithm of the tables: messages name those by integers (IANA COSE Algorithms). */
function algorithmFor<A extends { readonly id: number }>(
  headers: Headers,
  table: (id: number) => A | undefined,
  { keyAlgorithm }: VerifyOptions,
): A | 'alg-missing' | 'alg-unprotected' | 'alg-unsupported' | 'key-mismatch' {
  const alg = headers.get(LABEL.alg);
  if (!alg) return 'alg-missing';
  if (keyAlgorithm === undefined && !headers.protectedGet(LABEL.alg)) return 'alg-unprotected';
  const algorithm = alg.type === 'text' ? undefined : table(Number(labelOf(alg)));
  if (!algorithm) return 'alg-unsupported';
  return keyAlgorithm === undefined || keyAlgorithm === algorithm.id ? algorithm : 'key-mismatch';
}

/** RFC 9052 section 3.1, crit. */
export function unmetCriticality(
  headers: Headers,
  options: Pick<VerifyOptions, 'understood'>,
): 'crit-malformed' | 'crit-not-understood' | undefined {
  const crit = headers.get(LABEL.crit);
  if (!crit) return undefined;
  if (crit.type !== 'array' || !headers.protectedGet(LABEL.crit)) return 'crit-malformed';
  const labels = crit.items.map((item) => labelOf(item)!);
  if (labels.some((label) => !headers.protectedGet(label))) return 'crit-malformed';
  const understood = [...ALWAYS_UNDERSTOOD, ...(options.understood ?? [])];
  return labels.every((label) => understood.includes(label)) ? undefined : 'crit-not-understood';
}

function signatureVerdict(
  algorithm: SignatureAlgorithm,
  key: PublicKey,
  signed: Uint8Array,
  signature: Uint8Array,
): CoseVerdict<SignatureAlgorithm> {
  if (verifySignature(key, signed, signature)) return { ok: true, algorithm };
  const refusal = refused('signature-wrong');
  return isSoundKey(key) ? refusal : { ...refusal, detail: EVERYBODYS_KEY };
}

function macVerdict(
  message: Mac0Message | MacMessage,
  key: Uint8Array,
  payload: Uint8Array,
  authenticated: Uint8Array,
  options: VerifyOptions,
): CoseVerdict<MacAlgorithm> {
  if (payloadDiffers(message.payload, payload)) return refused('payload-differs');
  const unmet = unmetCriticality(message.headers, options);
  if (unmet) return refused(unmet);
  const algorithm = algorithmFor(message.headers, macAlgorithm, options);
  if (typeof algorithm === 'string') return refused(algorithm);
  if (key.length < algorithm.minimumKeyLength) return refused('key-too-short');
  const expected = hmacSha256(key, authenticated);
  return equalInConstantTime(expected, message.tagBytes) ? { ok: true, algorithm } : refused('mac-wrong');
}

/** RFC 9053 section 6.1.1: alg direct, nothing protected, nothing conveyed; RFC 9052 section 8.5.1: the only one. */
function isDirect(message: MacMessage): boolean {
  const [recipient, ...others] = message.recipients;
  if (!recipient || others.length > 0 || recipient.recipients.length > 0) return false;
  const alg = recipient.headers.get(LABEL.alg);
  return (
    alg?.type === 'nint' &&
    alg.value === DIRECT &&
    recipient.headers.protectedBytes.length === 0 &&
    recipient.ciphertext?.length === 0
  );
}

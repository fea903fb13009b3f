import type { KeyDescription } from '../keys/index.ts';
import type { JsonObject, LeafState, WrittenRecord } from '../workspace/index.ts';
import { type Certificate, purposeOf } from '../x509/index.ts';
import { numberJson } from './number.ts';

/** Facts of a key and its certificate for programs. */
export function keyJson(
  description: KeyDescription,
  certificate?: Certificate,
  ceremony?: WrittenRecord,
): JsonObject {
  return {
    name: description.name,
    purpose: description.purpose,
    custody: description.custody,
    algorithm: description.algorithm,
    trial: description.trial,
    fingerprint: description.fingerprint,
    spki_hex: description.spki ?? null,
    check_value: description.check_value ?? null,
    token_uri: description.token?.uri ?? null,
    created: description.created,
    certificate: certificate ? certificateJson(certificate) : null,
    ceremony_record: ceremony?.path ?? null,
  };
}

/** Facts of a certificate for programs. */
export function certificateJson(certificate: Certificate): JsonObject {
  return {
    subject: certificate.subject.text,
    issuer: certificate.issuer.text,
    serial: certificate.serial,
    not_before: certificate.notBefore.toISOString(),
    not_after: certificate.notAfter?.toISOString() ?? null,
    scope: [...certificate.subjectAltUris],
    generation: certificate.generation ?? null,
    role: certificate.role ?? null,
    purpose: purposeOf(certificate) ?? null,
    trial: certificate.trial,
  };
}

/** How many signatures are left and whether the key can sign here, for programs; null for keys that need no count. */
export function leavesJson(leaves: LeafState | undefined, refusal: string | undefined): JsonObject | null {
  if (!leaves) return null;
  const { remaining, capacity, few } = leaves;
  return { remaining: numberJson(remaining), capacity: numberJson(capacity), few, refusal: refusal ?? null };
}

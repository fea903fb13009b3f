import type { MemoryMap } from '../image/index.ts';
import type { AttestationRules } from './attestation-rules.ts';
import type { AuthenticationPolicy } from './policy.ts';
import type { Scheme } from './profiles.ts';
import type { SignerRight } from './rights.ts';

/** Format of a unit record and its version. */
export const UNIT_FORMAT = 'fieldseal.unit/1';

/** A secret of a virtual unit: in clear and marked as trial, or as an encrypted PEM text. */
export type UnitSecret = { readonly trial_hex: string } | { readonly pem: string };

/** A root that the unit trusts: its name and key; its dates bind nobody (RFC 5280 section 6.1.1). */
export interface UnitAnchor {
  /** DER Name, hexadecimal. */
  readonly name: string;
  /** DER SubjectPublicKeyInfo, hexadecimal. */
  readonly spki: string;
  readonly label: string;
  /** `dependency`: only for manifests that others depend on; the root of another author. */
  readonly purpose: AnchorPurpose | 'dependency';
  /** With purpose `dependency`, and only then: whose root it is, and what its signers may change. */
  readonly author?: UnitAuthor;
}

/** The author of some components of a unit, with a root of its own. */
export interface UnitAuthor {
  /** What its manifests may name in place of the unit's own identifiers, and what its signers' scope must name one of. */
  readonly vendor_id: string;
  readonly class_ids: readonly string[];
  /** The components that its signers may change or start: prefixes, segments in UTF-8 parted by '/'. Nobody else may. */
  readonly components: readonly string[];
  /** Signers of an earlier generation are refused. */
  readonly signer_generation: number;
}

/** `spare`: takes the place of another root when a trust update under it retires that one; until then no release is believed. */
export type AnchorPurpose = 'release' | 'spare';

/** A MAC key of the class or of one cohort. */
export interface UnitMacKey {
  /** The key id that a payload names (`kid`), hexadecimal. */
  readonly id: string;
  readonly label: string;
  readonly cohort?: string;
  readonly secret: UnitSecret;
}

/** A key-encryption key of the class or of one cohort: content keys come wrapped under it. Never a MAC key. */
export interface UnitContentKey {
  /** The key id that a recipient names (`kid`), hexadecimal. */
  readonly id: string;
  readonly label: string;
  readonly cohort?: string;
  readonly secret: UnitSecret;
}

/** A key of the unit's own; each purpose has another. */
export interface UnitKey {
  readonly purpose: 'attestation' | 'report' | 'decryption';
  /** DER SubjectPublicKeyInfo, hexadecimal. */
  readonly spki: string;
  readonly secret: UnitSecret;
}

/** What provisioning writes into a unit, as it stands in unit files. */
export interface UnitRecord {
  readonly format: typeof UNIT_FORMAT;
  readonly serial: string;
  readonly class_name: string;
  /** UUIDs in text form (RFC 9562 section 4). */
  readonly vendor_id: string;
  /** The model's, then the hardware revision's where there is one. */
  readonly class_ids: readonly string[];
  readonly device_id: string;
  readonly scheme: Scheme;
  /** Algorithm profile by its name in draft-ietf-suit-mti. */
  readonly profile: string;
  /** Whether the unit has a clock that it trusts. */
  readonly clock: boolean;
  /** Which signatures must hold. Absent: one, of the profile's algorithm. */
  readonly authentication?: AuthenticationPolicy;
  /** What each signer may have done. Absent: everything. */
  readonly rights?: readonly SignerRight[];
  /** What may be measured for a challenge, and how the unit checks itself. Absent: all code, and no self-check. */
  readonly attestation?: AttestationRules;
  readonly anchors: readonly UnitAnchor[];
  readonly mac_keys: readonly UnitMacKey[];
  readonly unit_keys: readonly UnitKey[];
  /** Absent where the unit takes no content keys by key wrap. */
  readonly content_keys?: readonly UnitContentKey[];
  /** Floors at provisioning. The sequence number is decimal text: it may exceed 2^53. */
  readonly floors: {
    readonly sequence_number: string;
    readonly security_version: number;
    readonly signer_generation: number;
  };
  /** SHA-256 of SubjectPublicKeyInfo, lower-case hexadecimal. */
  readonly denied_signers: readonly string[];
  readonly memory: MemoryMap;
  /** How often an image that falls back is tried before it is refused. */
  readonly trial_attempts: number;
  /** Whether the unit belongs to a trial workspace. */
  readonly trial: boolean;
  readonly debug: 'closed' | 'open';
}

import { fromHex } from '../bytes/index.ts';
import { type ComponentIdentifier, MAIN_COMPONENT, parseUuid, STAGING_COMPONENT } from '../suit/index.ts';
import { type Anchor, fingerprint } from '../x509/index.ts';
import { type ResolvedPolicy, resolvePolicy } from './policy.ts';
import { type UnitProfile, unitProfile } from './profiles.ts';
import type { AnchorPurpose, UnitRecord } from './record.ts';

/** A root of the unit, its name and key as bytes. */
export interface LabelledAnchor extends Anchor {
  readonly label: string;
  readonly purpose: AnchorPurpose;
  /** SHA-256 of its SubjectPublicKeyInfo, lower-case hexadecimal. */
  readonly fingerprint: string;
}

/** What a decision needs of a record, read out of its texts once. */
export interface PreparedRecord {
  readonly profile: UnitProfile;
  /** Undefined where one signature of the profile's algorithm, or one MAC, suffices. */
  readonly policy: ResolvedPolicy | undefined;
  readonly vendorId: Uint8Array;
  readonly classIds: readonly Uint8Array[];
  readonly deviceId: Uint8Array;
  readonly anchors: readonly LabelledAnchor[];
  /** What a signer's scope must name one of: a class of the unit, or its vendor (`urn:uuid:`, RFC 9562 section 4). */
  readonly scopes: readonly string[];
  /** Components that a manifest for this unit lists, each exactly once: the one that runs first. */
  readonly components: readonly ComponentIdentifier[];
}

const prepared = new WeakMap<UnitRecord, PreparedRecord>();

/** The prepared form of a record that `readUnitRecord` accepted; kept for as long as the record is. */
export function prepareRecord(record: UnitRecord): PreparedRecord {
  const known = prepared.get(record);
  if (known) return known;
  const profile = unitProfile(record.profile)!;
  const classScopes = record.class_ids.map(scopeText);
  const vendorScope = scopeText(record.vendor_id);
  const own = { algorithm: profile.algorithm, classScopes, vendorScope };
  const fresh: PreparedRecord = {
    profile,
    policy: record.authentication && resolvePolicy(record.authentication, own),
    vendorId: parseUuid(record.vendor_id),
    classIds: record.class_ids.map(parseUuid),
    deviceId: parseUuid(record.device_id),
    anchors: record.anchors.map(({ name, spki, label, purpose }) => ({
      name: fromHex(name),
      spki: fromHex(spki),
      label,
      purpose,
      fingerprint: fingerprint(fromHex(spki)),
    })),
    scopes: [...classScopes, vendorScope],
    components: record.memory.shape === 'staged' ? [MAIN_COMPONENT, STAGING_COMPONENT] : [MAIN_COMPONENT],
  };
  prepared.set(record, fresh);
  return fresh;
}

function scopeText(id: string): string {
  return `urn:uuid:${id}`;
}

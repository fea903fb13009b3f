import { fromHex, fromUtf8 } from '../bytes/index.ts';
import {
  type ComponentIdentifier,
  type Extensions,
  MAIN_COMPONENT,
  parseUuid,
  STAGING_COMPONENT,
} from '../suit/index.ts';
import { type Anchor, fingerprint } from '../x509/index.ts';
import { extensionsOf } from './extensions.ts';
import { type ResolvedPolicy, resolvePolicy } from './policy.ts';
import { type UnitProfile, unitProfile } from './profiles.ts';
import type { AnchorPurpose, UnitAnchor, UnitAuthor, UnitRecord } from './record.ts';

/** A root of the unit, its name and key as bytes. */
export interface LabelledAnchor extends Anchor {
  readonly label: string;
  readonly purpose: AnchorPurpose;
  /** SHA-256 of its SubjectPublicKeyInfo, lower-case hexadecimal. */
  readonly fingerprint: string;
  /** Where it is the root of another author. */
  readonly author?: PreparedAuthor | undefined;
}

/** The author of some components of the unit. */
export interface PreparedAuthor {
  readonly vendorId: Uint8Array;
  readonly classIds: readonly Uint8Array[];
  readonly scopes: readonly string[];
  /** Prefixes of the identifiers of its components. */
  readonly components: readonly ComponentIdentifier[];
  readonly minimumGeneration: number;
}

/** What a component is to the unit: `main` runs, `staging` is where it waits, others go by their names. */
export type Role = 'main' | 'staging' | (string & {});

/** A component that the unit has. */
export interface Place {
  readonly role: Role;
  readonly identifier: ComponentIdentifier;
  /** Among `memory.components`; undefined for `main` and `staging`. */
  readonly further: number | undefined;
}

/** What a decision needs of a record, read out of its texts once. */
export interface PreparedRecord {
  readonly profile: UnitProfile;
  /** Undefined where one signature of the profile's algorithm, or one MAC, suffices. */
  readonly policy: ResolvedPolicy | undefined;
  readonly vendorId: Uint8Array;
  readonly classIds: readonly Uint8Array[];
  readonly deviceId: Uint8Array;
  /** Roots for what the unit is offered. */
  readonly anchors: readonly LabelledAnchor[];
  /** Roots of other authors: for what that depends on. */
  readonly authorAnchors: readonly LabelledAnchor[];
  /** By the labels of their roots; undefined where there are none. */
  readonly authors: ReadonlyMap<string, PreparedAuthor> | undefined;
  /** What a signer's scope must name one of: a class of the unit, or its vendor (`urn:uuid:`, RFC 9562 section 4). */
  readonly scopes: readonly string[];
  /** Components that a release for this unit brings, each exactly once: the one that runs first. */
  readonly places: readonly Place[];
  readonly extensions: Extensions;
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
  const anchors = record.anchors.map(anchorOf);
  const authors = anchors.flatMap(({ label, author }) => (author ? [[label, author] as const] : []));
  const fresh: PreparedRecord = {
    profile,
    policy: record.authentication && resolvePolicy(record.authentication, own),
    vendorId: parseUuid(record.vendor_id),
    classIds: record.class_ids.map(parseUuid),
    deviceId: parseUuid(record.device_id),
    anchors: anchors.filter(({ author }) => author === undefined),
    authorAnchors: anchors.filter(({ author }) => author !== undefined),
    authors: authors.length > 0 ? new Map(authors) : undefined,
    scopes: [...classScopes, vendorScope],
    places: placesOf(record),
    extensions: extensionsOf(record),
  };
  prepared.set(record, fresh);
  return fresh;
}

function anchorOf({ name, spki, label, purpose: given, author }: UnitAnchor): LabelledAnchor {
  const purpose = given === 'dependency' ? 'release' : given;
  const key = fromHex(spki);
  const anchor = { name: fromHex(name), spki: key, label, purpose, fingerprint: fingerprint(key) };
  return author ? { ...anchor, author: authorOf(author) } : anchor;
}

function authorOf({ vendor_id, class_ids, components, signer_generation }: UnitAuthor): PreparedAuthor {
  return {
    vendorId: parseUuid(vendor_id),
    classIds: class_ids.map(parseUuid),
    scopes: [...class_ids, vendor_id].map(scopeText),
    components: components.map(componentIdentifier),
    minimumGeneration: signer_generation,
  };
}

function placesOf({ memory: { shape, components = [] } }: UnitRecord): Place[] {
  const main = { role: 'main', identifier: MAIN_COMPONENT, further: undefined };
  const staging = { role: 'staging', identifier: STAGING_COMPONENT, further: undefined };
  const further = components.map(({ name }, i) => ({
    role: name,
    identifier: componentIdentifier(name),
    further: i,
  }));
  return shape === 'staged' ? [main, staging] : [main, ...further];
}

/** A component identifier from its name: segments in UTF-8, parted by '/'. */
export function componentIdentifier(name: string): ComponentIdentifier {
  return name.split('/').map(fromUtf8);
}

function scopeText(id: string): string {
  return `urn:uuid:${id}`;
}

import {
  addedSignatures,
  type JsonObject,
  listReleases,
  readRecord,
  type Workspace,
} from '../workspace/index.ts';
import { IncidentError } from './error.ts';
import type { FieldedUnit } from './fielded.ts';
import { POWERS } from './powers.ts';
import { type KeySubject, subjectOf } from './subject.ts';

/** A release that was sealed or signed with a key, or encrypted under it. */
export interface ExposedRelease {
  readonly className: string;
  readonly version: string;
  readonly number: string;
  readonly sealed: string;
  /** Sealed at or after the earliest doubt: it may be somebody else's. */
  readonly inDoubt: boolean;
}

/** A moment from which a key may be doubted. */
export interface Moment {
  readonly what: string;
  readonly time: string;
}

/** What a leak of one key means: what its holder can make, and whom it reaches. */
export interface Exposure {
  readonly subject: KeySubject;
  readonly forges: readonly string[];
  readonly beyondRepair: readonly string[];
  readonly incident: string | undefined;
  /** The earliest doubt that was given, or else when the key was made. */
  readonly since: string;
  readonly moments: readonly Moment[];
  readonly releases: readonly ExposedRelease[];
  readonly byClass: readonly { readonly className: string; readonly units: readonly FieldedUnit[] }[];
}

/** Walks from a key to certificates, releases and units. `since`: the earliest doubt, RFC 3339 or a date. */
export async function exposureOf(workspace: Workspace, key: string, since?: string): Promise<Exposure> {
  const subject = await subjectOf(workspace, key);
  const from = since === undefined ? subject.made : instant(since);
  const releases = releasesOf(workspace, subject, from);
  const names = [...new Set(subject.units.map(({ className }) => className))];
  const { forges, beyondRepair, incident } = POWERS[subject.kind];
  return {
    subject,
    forges: forges(subject),
    beyondRepair: beyondRepair(subject),
    incident,
    since: from,
    moments: momentsOf(subject, releases),
    releases,
    byClass: names.map((className) => ({
      className,
      units: subject.units.filter((unit) => unit.className === className),
    })),
  };
}

/** A date or time as RFC 3339. Throws `IncidentError` date-wrong. */
export function instant(text: string): string {
  const time = new Date(text);
  if (!Number.isNaN(time.getTime())) return time.toISOString();
  throw new IncidentError(
    'date-wrong',
    `${text} is not a date.`,
    'For example 2026-11-20 or 2026-11-20T08:30:00Z.',
  );
}

function momentsOf({ made, certificate }: KeySubject, releases: readonly ExposedRelease[]): Moment[] {
  const last = releases.at(-1);
  const first = releases[0];
  return [
    { what: 'the key was made', time: made },
    ...(certificate ? [{ what: 'its certificate begins', time: certificate.notBefore.toISOString() }] : []),
    ...(first ? [{ what: `first release with it, number ${first.number}`, time: first.sealed }] : []),
    ...(last && last !== first
      ? [{ what: `last release with it, number ${last.number}`, time: last.sealed }]
      : []),
  ];
}

interface ReleaseFacts {
  readonly class: string;
  readonly version: string;
  readonly sequence_number: string;
  readonly sealed: string;
  readonly signers?: readonly { fingerprint: string }[];
  readonly mac_keys?: readonly { check_value: string }[];
  readonly encryption?: JsonObject | null;
}

interface SignatureFacts {
  readonly signer: { readonly fingerprint: string };
  readonly signed: string;
}

function releasesOf(workspace: Workspace, subject: KeySubject, since: string): ExposedRelease[] {
  return listReleases(workspace)
    .flatMap((name) => {
      const facts = readRecord(workspace, 'releases', name.split('/')).facts as unknown as ReleaseFacts;
      const sealed = sealedUnder(facts, subject) ?? signedLater(workspace, name, subject);
      return sealed === undefined ? [] : [{ facts, sealed }];
    })
    .map(({ facts, sealed }) => ({
      className: facts.class,
      version: facts.version,
      number: facts.sequence_number,
      sealed,
      inDoubt: sealed >= since,
    }))
    .toSorted((a, b) => (a.sealed < b.sealed ? -1 : 1));
}

/** When a release was sealed with the key; for a root, with that of any signer; for a content key, encrypted. */
function sealedUnder(facts: ReleaseFacts, subject: KeySubject): string | undefined {
  return isUnder(facts, subject) ? facts.sealed : undefined;
}

function isUnder(facts: ReleaseFacts, { kind, fingerprint, classes }: KeySubject): boolean {
  const ofClass = classes.some(({ name }) => name === facts.class);
  if (kind === 'root') return ofClass && (facts.signers ?? []).length > 0;
  if (kind === 'content key') return ofClass && Boolean(facts.encryption);
  return (
    (facts.signers ?? []).some((signer) => signer.fingerprint === fingerprint) ||
    (facts.mac_keys ?? []).some((key) => key.check_value === fingerprint)
  );
}

/** When the key signed a release that others had sealed. */
function signedLater(workspace: Workspace, release: string, { fingerprint }: KeySubject): string | undefined {
  const added = addedSignatures(workspace, release) as unknown as readonly SignatureFacts[];
  return added.find(({ signer }) => signer.fingerprint === fingerprint)?.signed;
}

/** An exposure for programs (format fieldseal.exposure/1). */
export function exposureJson({ subject, ...exposure }: Exposure): JsonObject {
  return {
    format: 'fieldseal.exposure/1',
    key: {
      name: subject.name,
      kind: subject.kind,
      fingerprint: subject.fingerprint,
      made: subject.made,
      retired: subject.retired,
      root: subject.root ?? null,
      certificate_serial: subject.certificate?.serial ?? null,
      classes: subject.classes.map(({ name }) => name),
    },
    forges: [...exposure.forges],
    beyond_repair: [...exposure.beyondRepair],
    incident: exposure.incident ?? null,
    since: exposure.since,
    moments: exposure.moments.map(({ what, time }) => ({ what, time })),
    releases: exposure.releases.map(({ className, version, number, sealed, inDoubt }) => ({
      class: className,
      version,
      sequence_number: number,
      sealed,
      in_doubt: inDoubt,
    })),
    units: {
      count: subject.units.length,
      by_class: exposure.byClass.map(({ className, units }) => ({
        class: className,
        count: units.length,
        without_trust_updates: units.filter(({ takesTrust }) => !takesTrust).length,
        without_spare_root: units.filter(({ anchors }) => !anchors.some(({ spare }) => spare)).length,
        serials: units.map(({ serial }) => serial),
      })),
    },
  };
}

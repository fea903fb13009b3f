import { fromHex, toHex } from '../../bytes/index.ts';
import { classRecord, deviceId } from '../../provision/index.ts';
import { classId, formatUuid } from '../../suit/index.ts';
import { decryptionKeyId, type UnitRecord } from '../../unit/index.ts';
import {
  classKeys,
  contentKeys,
  type DeviceClass,
  listClasses,
  listKeys,
  listRecords,
  listReleases,
  readCertificates,
  readClass,
  readRecord,
  sharesContentKeys,
  type Workspace,
} from '../../workspace/index.ts';
import { fingerprint } from '../../x509/index.ts';
import type { Classes, ClassOfUnits, KnownRelease } from './classes.ts';

/** The classes of a workspace, their keys and releases, as units of an inventory are judged by them. Opens no key. */
export async function classesOf(workspace: Workspace): Promise<Classes> {
  const roots = rootsOf(workspace);
  const classes = await Promise.all(
    listClasses(workspace).map(async (name) => {
      const deviceClass = await readClass(workspace, name);
      return [name, classOf(workspace, deviceClass, roots)] as const;
    }),
  );
  return new Map(classes);
}

function rootsOf(workspace: Workspace): ReadonlyMap<string, string> {
  return new Map(
    listKeys(workspace, 'root').flatMap(({ name }) =>
      readCertificates(workspace, name)
        .slice(0, 1)
        .map(({ spki }) => [name, fingerprint(spki)] as const),
    ),
  );
}

function classOf(
  workspace: Workspace,
  deviceClass: DeviceClass,
  roots: ReadonlyMap<string, string>,
): ClassOfUnits {
  const { name, model, memory, scheme } = deviceClass;
  const records = new Map<string | undefined, UnitRecord>();
  const general = classId(workspace.vendorId, model);
  const identifiersOf = (revision: string) => [
    formatUuid(general),
    formatUuid(classId(workspace.vendorId, `${model}/${revision}`)),
  ];
  const own = deviceClass.classIds.map(formatUuid);
  const releases = releasesOf(workspace, name);
  const decryptionKeys = lazily(() => decryptionKeysOf(workspace, name));
  return {
    name,
    scheme,
    slotNames: memory.slots.map((slot) => slot.name),
    cohorts: cohortsOf(workspace, deviceClass),
    identifiersOf,
    recordOf(cohort) {
      const known = records.get(cohort);
      if (known) return known;
      const made = classRecord(workspace, deviceClass, { serial: name, cohort });
      records.set(cohort, made);
      return made;
    },
    deviceIdOf: (serial, revision) =>
      deviceId({ class_ids: revision === undefined ? own : identifiersOf(revision) }, serial),
    decryptionKeyIdOf: (serial) => decryptionKeys().get(serial),
    roots,
    releaseOf: (told) => releases.get('version' in told ? `v${told.version}` : told.sequenceNumber),
  };
}

/** Cohorts by the keys that units hold; undefined where none of their keys is a cohort's. */
function cohortsOf(workspace: Workspace, deviceClass: DeviceClass): string[] | undefined {
  const held = [
    ...(deviceClass.scheme === 'symmetric' ? classKeys(workspace, deviceClass.name) : []),
    ...(sharesContentKeys(deviceClass) ? contentKeys(workspace, deviceClass.name) : []),
  ];
  if (held.length === 0) return undefined;
  return [...new Set(held.flatMap(({ cohort }) => cohort ?? []))];
}

/** By number, and by `v` and version: the latest of a version. */
function releasesOf(workspace: Workspace, className: string): ReadonlyMap<string, KnownRelease> {
  const all = listReleases(workspace, className)
    .map((name) => readRecord(workspace, 'releases', name.split('/')).facts)
    .map((facts) => ({
      version: String(facts.version),
      sequenceNumber: BigInt(facts.sequence_number as number | string),
      securityVersion: Number(facts.security_version),
      manifestDigest: String(facts.manifest_digest),
    }))
    .toSorted((a, b) => (a.sequenceNumber < b.sequenceNumber ? -1 : 1));
  return new Map(
    all.flatMap((release) => [
      [`v${release.version}`, release] as const,
      [release.sequenceNumber.toString(), release] as const,
    ]),
  );
}

/** Key ids of decryption keys by serial number, of all units on record. */
function decryptionKeysOf(workspace: Workspace, className: string): ReadonlyMap<string, string> {
  return new Map(
    listRecords(workspace, 'units', className).flatMap((name) => {
      const { serial, unit_keys = [] } = readRecord(workspace, 'units', name.split('/')).facts;
      const keys = unit_keys as { purpose: string; spki: string }[];
      const own = keys.find(({ purpose }) => purpose === 'decryption');
      return own ? [[String(serial), toHex(decryptionKeyId(fromHex(own.spki)))] as const] : [];
    }),
  );
}

function lazily<T>(make: () => T): () => T {
  let made: { readonly value: T } | undefined;
  return () => {
    made ??= { value: make() };
    return made.value;
  };
}

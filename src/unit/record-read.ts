import { fromHex } from '../bytes/index.ts';
import { isSoundKey, readPublicKey } from '../crypto/index.ts';
import { DELTA_LIMITS } from '../delta/index.ts';
import { checkMemoryMap, IMAGE_LIMITS, type MemoryMap } from '../image/index.ts';
import { attestationRules, checkAttestation } from './attestation-read.ts';
import {
  boolean,
  choice,
  count,
  fail,
  hex,
  list,
  literal,
  object,
  optional,
  type Reader,
  text,
  union,
} from './json-read.ts';
import { authenticationPolicy, checkPolicy, componentPrefix, signerRights } from './policy-read.ts';
import { UNIT_PROFILES, unitProfile } from './profiles.ts';
import { UNIT_FORMAT, type UnitRecord, type UnitSecret } from './record.ts';

const MAXIMUM_UINT32 = 0xffffffff;
const UUID = /^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$/;
const DECIMAL = /^(?:0|[1-9][0-9]{0,19})$/;

const uuid = text({ pattern: UUID, expected: 'a UUID in lower-case hexadecimal' });
const fingerprint = hex({ minimum: 32, maximum: 32 });
const size = count(Number.MAX_SAFE_INTEGER);
const uint32 = count(MAXIMUM_UINT32);

/** Reads a secret in either form. */
export const secret: Reader<UnitSecret> = union<UnitSecret>(
  object({ trial_hex: hex({ minimum: 16, maximum: 1024 }) }),
  object({ pem: text({ maximum: 8192 }) }),
);

const region = { address: size, size };
const namedRegion = object({ name: text({}), ...region });

const memory: Reader<MemoryMap> = object({
  shape: choice('remapped', 'position-independent', 'linked', 'staged'),
  core: choice('cortex-m', 'none'),
  link_address: optional(size),
  slots: list(namedRegion, { minimum: 2, maximum: 2 }),
  recovery: optional(object(region)),
  components: optional(
    list(
      object({ name: text({}), areas: list(object(region), { minimum: 2, maximum: 2 }), started: boolean }),
      {
        minimum: 1,
        maximum: IMAGE_LIMITS.components.value,
      },
    ),
  ),
  envelopes: object(region),
  state: object(region),
  policy: optional(object(region)),
  boot_log: optional(object(region)),
  flash: object({ erase_page: size, write_unit: size, erased_value: count(255), endurance: size }),
  ram: object(region),
  leave_out: list(namedRegion, { maximum: 64 }),
  delta_window: optional(count(DELTA_LIMITS.targetWindow.value)),
}) as Reader<MemoryMap>;

const record: Reader<UnitRecord> = object({
  format: literal(UNIT_FORMAT),
  serial: text({}),
  class_name: text({}),
  vendor_id: uuid,
  class_ids: list(uuid, { minimum: 1, maximum: 8 }),
  device_id: uuid,
  scheme: choice('asymmetric', 'symmetric'),
  profile: choice(...UNIT_PROFILES.map(({ name }) => name)),
  clock: boolean,
  authentication: optional(authenticationPolicy),
  rights: optional(signerRights),
  attestation: optional(attestationRules),
  anchors: list(
    object({
      name: hex({ minimum: 2, maximum: 1024 }),
      spki: hex({ minimum: 32, maximum: 1024 }),
      label: text({}),
      purpose: choice('release', 'spare', 'dependency'),
      author: optional(
        object({
          vendor_id: uuid,
          class_ids: list(uuid, { minimum: 1, maximum: 8 }),
          components: list(componentPrefix, { minimum: 1, maximum: IMAGE_LIMITS.components.value }),
          signer_generation: uint32,
        }),
      ),
    }),
    { maximum: 8 },
  ),
  mac_keys: list(
    object({
      id: hex({ minimum: 1, maximum: 64 }),
      label: text({}),
      cohort: optional(text({})),
      secret,
    }),
    { maximum: 16 },
  ),
  unit_keys: list(
    object({
      purpose: choice('attestation', 'report', 'decryption'),
      spki: hex({ minimum: 32, maximum: 1024 }),
      secret,
    }),
    { maximum: 8 },
  ),
  content_keys: optional(
    list(
      object({
        id: hex({ minimum: 1, maximum: 64 }),
        label: text({}),
        cohort: optional(text({})),
        secret,
      }),
      { maximum: 16 },
    ),
  ),
  floors: object({
    sequence_number: text({ pattern: DECIMAL, expected: 'a whole number as decimal text' }),
    security_version: uint32,
    signer_generation: uint32,
  }),
  denied_signers: list(fingerprint, { maximum: 256 }),
  memory,
  trial_attempts: count(100),
  trial: boolean,
  debug: choice('closed', 'open'),
}) as Reader<UnitRecord>;

/**
 * Reads a unit record out of parsed JSON. Every field is required and no other is known; what contradicts
 * itself (a profile of the other scheme, no root, overlapping areas) is refused too. Throws
 * `UnitRecordError` with the path of the field, what was found and what was expected.
 */
export function readUnitRecord(json: unknown): UnitRecord {
  const unit = record(json, []);
  checkScheme(unit);
  checkPolicy(unit);
  checkSecrets(unit);
  checkKeys(unit);
  const problem = checkMemoryMap(unit.memory)[0];
  if (problem) fail(['memory', ...problem.path], problem.says, problem.expected);
  checkAuthors(unit);
  checkAttestation(unit);
  return unit;
}

/** A root of another author says what it is for, and two authors never answer for one component. */
function checkAuthors({ anchors, memory: { components = [] } }: UnitRecord): void {
  const names = components.map(({ name }) => name);
  const taken = new Map<string, string>();
  for (const [i, { purpose, author, label }] of anchors.entries()) {
    if ((purpose === 'dependency') !== (author !== undefined))
      fail(
        ['anchors', i, 'author'],
        `purpose ${purpose}`,
        'an author with the purpose dependency, and only then',
      );
    for (const [k, prefix] of (author?.components ?? []).entries()) {
      const path = ['anchors', i, 'author', 'components', k];
      if (!names.some((name) => isWithin(prefix, name)))
        fail(path, prefix, `a component of the unit: ${names.join(', ') || 'it has none'}`);
      const other = [...taken].find(
        ([each, whose]) => whose !== label && (isWithin(each, prefix) || isWithin(prefix, each)),
      );
      if (other) fail(path, `${prefix} belongs to ${other[1]} already`, 'one author for each component');
      taken.set(prefix, label);
    }
  }
}

/** Whether a component, or a prefix of some, lies within a prefix. */
function isWithin(prefix: string, name: string): boolean {
  return name === prefix || name.startsWith(`${prefix}/`);
}

function checkScheme({ scheme, profile, anchors, mac_keys, trial_attempts }: UnitRecord): void {
  if (unitProfile(profile)?.scheme !== scheme) {
    fail(
      ['profile'],
      `${profile} is no profile of the ${scheme} scheme`,
      `a profile of the ${scheme} scheme`,
    );
  }
  if (scheme === 'asymmetric' && !anchors.some(({ purpose }) => purpose === 'release'))
    fail(
      ['anchors'],
      anchors.length === 0 ? 'no root' : 'spare roots only',
      'at least one root for releases',
    );
  if (scheme === 'symmetric' && mac_keys.length === 0) fail(['mac_keys'], 'no key', 'at least one MAC key');
  if (new Set(mac_keys.map(({ id }) => id)).size !== mac_keys.length) {
    fail(['mac_keys'], 'two keys have one id', 'another id for each key');
  }
  if (trial_attempts === 0) fail(['trial_attempts'], '0', 'a whole number from 1 to 100');
}

/** Nobody else signs under the keys of a unit, and of its roots. */
function checkKeys({ anchors, unit_keys }: UnitRecord): void {
  for (const [field, keys] of [
    ['anchors', anchors],
    ['unit_keys', unit_keys],
  ] as const) {
    for (const [i, { spki }] of keys.entries()) {
      const key = readPublicKey(fromHex(spki));
      if (key && !isSoundKey(key))
        fail(
          [field, i, 'spki'],
          'an Ed25519 point of small order',
          'a key under which not everybody can sign',
        );
    }
  }
}

/** A production unit's file holds no secret in clear. */
function checkSecrets({ trial, mac_keys, unit_keys, content_keys = [] }: UnitRecord): void {
  if (trial) return;
  for (const [field, keys] of [
    ['mac_keys', mac_keys],
    ['unit_keys', unit_keys],
    ['content_keys', content_keys],
  ] as const) {
    const clear = keys.findIndex((key) => 'trial_hex' in key.secret);
    if (clear >= 0)
      fail([field, clear, 'secret'], 'a secret in clear', 'an encrypted secret: this is no trial unit');
  }
}

import { fromHex } from '../bytes/index.ts';
import type { MemoryMap } from '../image/index.ts';
import { parseUuid } from '../suit/index.ts';
import type { ResolvedDemand, ResolvedPolicy } from '../unit/index.ts';

/** What a bootloader of one class is compiled with. No secret is among it. */
export interface HeaderFacts {
  readonly className: string;
  readonly vendorDomain: string;
  readonly trial: boolean;
  readonly profile: string;
  readonly vendorId: string;
  readonly classIds: readonly string[];
  readonly clock: boolean;
  readonly trialAttempts: number;
  /** COSE id of the algorithm that seals. */
  readonly algorithm: number;
  /** DER Name and DER SubjectPublicKeyInfo, hexadecimal; whether it is a spare root, above no release until it is called on. */
  readonly anchors: readonly {
    readonly label: string;
    readonly name: string;
    readonly spki: string;
    readonly spare: boolean;
  }[];
  /** Key slot of the part that holds a MAC key, and the value that shows it holds the right one. */
  readonly macKeys: readonly {
    readonly label: string;
    readonly id: string;
    readonly slot: number;
    readonly checkValue: string;
  }[];
  readonly floors: {
    readonly sequenceNumber: bigint;
    readonly securityVersion: number;
    readonly signerGeneration: number;
  };
  readonly memory: MemoryMap;
  /** Which signatures must hold; absent: one of the profile's algorithm, or one MAC. */
  readonly policy?: ResolvedPolicy | undefined;
}

/**
 * A C99 header with everything that `facts` hold: plain constants and `static const` arrays, no code. It compiles without
 * warnings under -std=c99 -Wall -Wextra -pedantic -Werror.
 */
export function cHeader(facts: HeaderFacts): string {
  const guard = `FIELDSEAL_${identifier(facts.className)}_H`;
  return [
    `/* ${comment(`Trust anchors and identifiers of the class ${facts.className}, ${facts.vendorDomain}.`)} */`,
    ...(facts.trial ? ['/* TRIAL: made from trial keys. Not for production. */'] : []),
    `#ifndef ${guard}`,
    `#define ${guard}`,
    '',
    '#include <stdint.h>',
    '',
    ...constants(facts),
    '',
    ...tables(facts),
    ...lists(facts),
    '',
    `#endif /* ${guard} */`,
    '',
  ].join('\n');
}

function constants(facts: HeaderFacts): string[] {
  const { memory } = facts;
  return [
    define('TRIAL', facts.trial ? '1' : '0'),
    define('PROFILE', `"${comment(facts.profile)}"`),
    define('ALGORITHM', `(${facts.algorithm})`),
    define('HAS_CLOCK', facts.clock ? '1' : '0'),
    define('TRIAL_ATTEMPTS', `${facts.trialAttempts}u`),
    define('SEQUENCE_FLOOR', `UINT64_C(${facts.floors.sequenceNumber})`),
    define('SECURITY_FLOOR', `UINT32_C(${facts.floors.securityVersion})`),
    define('GENERATION_FLOOR', `UINT32_C(${facts.floors.signerGeneration})`),
    define('CLASS_ID_COUNT', `${facts.classIds.length}u`),
    define('ANCHOR_COUNT', `${facts.anchors.length}u`),
    define('MAC_KEY_COUNT', `${facts.macKeys.length}u`),
    define('SIGNATURES_NEEDED', `${facts.policy?.needed ?? 1}u`),
    define('DEMAND_COUNT', `${facts.policy?.demands.length ?? 0}u`),
    ...(facts.policy?.demands ?? []).flatMap((demand, index) => demandConstants(facts, demand, index)),
    define('SLOT_COUNT', `${memory.slots.length}u`),
    define('SHAPE', `"${memory.shape}"`),
    define('STAGED', memory.shape === 'staged' ? '1' : '0'),
    ...memory.slots.flatMap((slot, index) => [
      define(`SLOT_${index}_ADDRESS`, number(slot.address)),
      define(`SLOT_${index}_SIZE`, number(slot.size)),
    ]),
    ...(memory.recovery
      ? [
          define('RECOVERY_ADDRESS', number(memory.recovery.address)),
          define('RECOVERY_SIZE', number(memory.recovery.size)),
        ]
      : []),
    define('ENVELOPES_ADDRESS', number(memory.envelopes.address)),
    define('ENVELOPES_SIZE', number(memory.envelopes.size)),
    define('STATE_ADDRESS', number(memory.state.address)),
    define('STATE_SIZE', number(memory.state.size)),
    ...(memory.policy
      ? [
          define('POLICY_ADDRESS', number(memory.policy.address)),
          define('POLICY_SIZE', number(memory.policy.size)),
        ]
      : []),
    define('COMPONENT_COUNT', `${memory.components?.length ?? 0}u`),
    ...(memory.components ?? []).flatMap(({ name, areas, started }, index) => [
      define(`COMPONENT_${index}_NAME`, `"${comment(name)}"`),
      define(`COMPONENT_${index}_STARTED`, started ? '1' : '0'),
      ...areas.flatMap((area, slot) => [
        define(`COMPONENT_${index}_AREA_${slot}_ADDRESS`, number(area.address)),
        define(`COMPONENT_${index}_AREA_${slot}_SIZE`, number(area.size)),
      ]),
    ]),
    ...(memory.boot_log
      ? [
          define('BOOT_LOG_ADDRESS', number(memory.boot_log.address)),
          define('BOOT_LOG_SIZE', number(memory.boot_log.size)),
        ]
      : []),
    define('ERASE_PAGE', number(memory.flash.erase_page)),
    define('WRITE_UNIT', number(memory.flash.write_unit)),
    define('ERASED_VALUE', `0x${memory.flash.erased_value.toString(16).padStart(2, '0')}u`),
    define('RAM_ADDRESS', number(memory.ram.address)),
    define('RAM_SIZE', number(memory.ram.size)),
    define('DELTA_WINDOW', number(memory.delta_window ?? 0)),
  ];
}

/** Role "" asks for none; anchors are bits, by their index; scope 0: any that covers the unit, 1: its class, 2: its vendor. */
function demandConstants(
  { anchors, vendorId }: HeaderFacts,
  demand: ResolvedDemand,
  index: number,
): string[] {
  const allowed = anchors.map(({ label }) => demand.anchors === undefined || demand.anchors.includes(label));
  const mask = allowed.reduce((bits, yes, bit) => bits | (yes ? 1 << bit : 0), 0);
  const ofVendor = demand.scopes?.includes(`urn:uuid:${vendorId}`);
  return [
    define(`DEMAND_${index}_ROLE`, `"${comment(demand.role ?? '')}"`),
    define(`DEMAND_${index}_ALGORITHM`, `(${demand.algorithm})`),
    define(`DEMAND_${index}_ANCHORS`, `0x${mask.toString(16)}u`),
    define(`DEMAND_${index}_SCOPE`, `${demand.scopes === undefined ? 0 : ofVendor ? 2 : 1}u`),
  ];
}

function define(name: string, value: string): string {
  return `#define FIELDSEAL_${name} ${value}`;
}

function tables(facts: HeaderFacts): string[] {
  return [
    ...array('vendor_id', parseUuid(facts.vendorId), 'UUIDv5 of the vendor domain'),
    ...facts.classIds.flatMap((id, index) => array(`class_id_${index}`, parseUuid(id), id)),
    ...facts.anchors.flatMap((anchor, index) => [
      ...array(`anchor_${index}_name`, fromHex(anchor.name), `DER Name of ${anchor.label}`),
      ...array(`anchor_${index}_key`, fromHex(anchor.spki), `DER SubjectPublicKeyInfo of ${anchor.label}`),
    ]),
    ...facts.macKeys.flatMap((key, index) => [
      `#define FIELDSEAL_MAC_KEY_${index}_SLOT ${key.slot}u`,
      ...array(`mac_key_${index}_id`, fromHex(key.id), `key id of ${key.label}, as payloads name it`),
      ...array(
        `mac_key_${index}_check`,
        fromHex(key.checkValue),
        `check value of the key in slot ${key.slot}`,
      ),
    ]),
  ];
}

/** Initializers that gather the tables: of `{{name, length}, {key, length}, spare}`, of `{{id, length}, slot}`, of identifiers. */
function lists({ classIds, anchors, macKeys }: HeaderFacts): string[] {
  const bytes = (name: string) => `{fieldseal_${name}, sizeof fieldseal_${name}}`;
  return [
    initializer(
      'CLASS_IDS',
      classIds.map((id) => `{${[...parseUuid(id)].join(', ')}}`),
      '{0}',
    ),
    initializer(
      'ANCHORS',
      anchors.map(
        ({ spare }, i) => `{${bytes(`anchor_${i}_name`)}, ${bytes(`anchor_${i}_key`)}, ${spare ? 1 : 0}}`,
      ),
      '{{0, 0}, {0, 0}, 0}',
    ),
    initializer(
      'MAC_KEYS',
      macKeys.map((_, i) => `{${bytes(`mac_key_${i}_id`)}, FIELDSEAL_MAC_KEY_${i}_SLOT}`),
      '{{0, 0}, 0}',
    ),
  ];
}

/** An empty list has one row of zeros: C99 knows no empty array. */
function initializer(name: string, rows: readonly string[], zeros: string): string {
  return define(name, `{${rows.length > 0 ? rows.join(', ') : zeros}}`);
}

function array(name: string, bytes: Uint8Array, about: string): string[] {
  const rows: string[] = [];
  for (let at = 0; at < bytes.length; at += 12) {
    rows.push(
      `    ${[...bytes.subarray(at, at + 12)].map((byte) => `0x${byte.toString(16).padStart(2, '0')}`).join(', ')},`,
    );
  }
  return [
    `/* ${comment(about)} */`,
    `static const uint8_t fieldseal_${name}[${bytes.length}] = {`,
    ...rows,
    '};',
    '',
  ];
}

function number(value: number): string {
  return value > 0xffffffff
    ? `UINT64_C(0x${value.toString(16)})`
    : `UINT32_C(0x${value.toString(16).padStart(8, '0')})`;
}

function identifier(text: string): string {
  return text.toUpperCase().replace(/[^A-Z0-9]/g, '_');
}

// Text from class files may hold anything; nothing of it may end a comment or a string.
function comment(text: string): string {
  return text
    .replace(/[^\x20-\x7e]|["\\]/g, '?')
    .replace(/\*\//g, '* /')
    .replace(/\/\*/g, '/ *');
}

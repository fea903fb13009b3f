import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { defaultMemoryMap } from '../../src/image/index.ts';
import { cHeader, type HeaderFacts } from '../../src/provision/index.ts';
import { flashLayout, resolvePolicy } from '../../src/unit/index.ts';

const compiler = spawnSync('gcc', ['--version']).status === 0;
const facts: HeaderFacts = {
  className: 'vent-2',
  vendorDomain: 'hollinridge.example',
  trial: true,
  profile: 'suit-sha256-esp256-ecdh-a128ctr',
  algorithm: -9,
  vendorId: '4638e62c-7425-55c8-b299-247f7870a11f',
  classIds: ['149a892a-ea1e-5f65-bce3-27594a29ad0f'],
  clock: false,
  trialAttempts: 3,
  anchors: [{ label: 'root */ "quoted" \\', name: '30023100', spki: '3059aa', spare: true }],
  macKeys: [{ label: 'class key', id: '0102', slot: 4, checkValue: 'a1b2c3d4' }],
  floors: { sequenceNumber: 2n ** 40n, securityVersion: 5, signerGeneration: 2 },
  memory: { ...defaultMemoryMap({ core: 'cortex-m' }), delta_window: 8192 },
  policy: resolvePolicy(
    {
      rule: 'at_least',
      count: 1,
      roles: [
        { role: 'approver', algorithm: 'HSS-LMS', scope: 'vendor' },
        { anchors: ['none'], scope: 'class' },
      ],
    },
    {
      algorithm: -9,
      classScopes: ['urn:uuid:149a892a-ea1e-5f65-bce3-27594a29ad0f'],
      vendorScope: 'urn:uuid:4638e62c-7425-55c8-b299-247f7870a11f',
    },
  ),
};

describe.skipIf(!compiler && process.env.CI !== 'true')('the C header (needs gcc)', () => {
  it('compiles as C99 with warnings as errors, and every value reads back', () => {
    const folder = mkdtempSync(join(tmpdir(), 'fieldseal-header-'));
    writeFileSync(join(folder, 'anchors.h'), cHeader(facts));
    writeFileSync(join(folder, 'main.c'), PROGRAM);
    execFileSync('gcc', [
      '-std=c99',
      '-Wall',
      '-Wextra',
      '-pedantic',
      '-Werror',
      '-Wconversion',
      '-o',
      join(folder, 'main'),
      join(folder, 'main.c'),
    ]);
    const printed = execFileSync(join(folder, 'main'), { encoding: 'utf8' }).trim().split('\n');
    expect(printed).toEqual([
      '4638e62c742555c8b299247f7870a11f',
      '149a892aea1e5f65bce327594a29ad0f',
      '30023100',
      '3059aa',
      '0102',
      'a1b2c3d4',
      '1 1 1 4 3 0 1099511627776 5 2',
      `${facts.memory.slots[0]!.address} ${facts.memory.slots[1]!.address} ${facts.memory.slots[1]!.size}`,
      '4096 8 255 8192 suit-sha256-esp256-ecdh-a128ctr',
      '1 2 approver -46 1 2 [] -9 0 1',
    ]);
  });

  it.each([
    ['remapped', -9],
    ['staged', -9],
    ['remapped', -46],
  ] as const)('gives the device kit its class: %s, algorithm %i', (shape, algorithm) => {
    const { policy: _, ...single } = facts;
    const memory = defaultMemoryMap({ core: 'cortex-m', shape, policy: true });
    const folder = mkdtempSync(join(tmpdir(), 'fieldseal-header-'));
    writeFileSync(join(folder, 'anchors.h'), cHeader({ ...single, memory, algorithm }));
    writeFileSync(join(folder, 'main.c'), KIT_PROGRAM);
    const strict = ['-std=c99', '-Wall', '-Wextra', '-pedantic', '-Werror', '-Wconversion'];
    const program = join(folder, 'main');
    execFileSync('gcc', [...strict, '-Idevice/include', '-o', program, join(folder, 'main.c')]);
    const layout = flashLayout(memory);
    const spans = [...layout.slots, ...layout.envelopes, layout.recovery, layout.state].map(
      (span) => `${span?.offset ?? layout.slots[1].offset + layout.slots[1].size}+${span?.size ?? 0}`,
    );
    expect(execFileSync(program, { encoding: 'utf8' }).trim().split('\n')).toEqual([
      spans.join(' '),
      `${shape === 'staged' ? 1 : 0} 1 ${algorithm} 1 1 1 4 4 3 2 1099511627776 ac`,
    ]);
  });
});

const KIT_PROGRAM = `#include <inttypes.h>
#include <stdio.h>
#include "anchors.h"
static const uint8_t own_id[16] = {0xac};
#define FIELDSEAL_DEVICE_ID own_id
#include "fieldseal/header-class.h"
static void span(fs_span area, char end) { printf("%" PRIu32 "+%" PRIu32 "%c", area.offset, area.size, end); }
int main(void) {
  const fs_class *unit = &fieldseal_class;
  span(unit->map.slots[0], ' ');
  span(unit->map.slots[1], ' ');
  span(unit->map.envelopes[0], ' ');
  span(unit->map.envelopes[1], ' ');
  span(unit->map.recovery, ' ');
  span(unit->map.state, '\\n');
  printf("%d %d %d %u %u %u %u %u %u %u %" PRIu64 " %x\\n", (int)unit->map.shape, unit->map.has_policy, (int)unit->algorithm,
         (unsigned)unit->class_id_count, (unsigned)unit->anchor_count, (unsigned)unit->mac_key_count,
         (unsigned)unit->anchors[0].name.length, (unsigned)unit->mac_keys[0].slot, (unsigned)unit->anchors[0].spki.length,
         (unsigned)unit->floors.signer_generation, unit->floors.sequence_number, (unsigned)unit->device_id[0]);
  return unit->anchors[0].spare && unit->class_ids[0][0] == 0x14 ? 0 : 1;
}
`;

const PROGRAM = `#include <inttypes.h>
#include <stdio.h>
#include "anchors.h"
static void hex(const uint8_t *bytes, size_t length) {
  for (size_t i = 0; i < length; i++) printf("%02x", bytes[i]);
  printf("\\n");
}
int main(void) {
  hex(fieldseal_vendor_id, sizeof fieldseal_vendor_id);
  hex(fieldseal_class_id_0, sizeof fieldseal_class_id_0);
  hex(fieldseal_anchor_0_name, sizeof fieldseal_anchor_0_name);
  hex(fieldseal_anchor_0_key, sizeof fieldseal_anchor_0_key);
  hex(fieldseal_mac_key_0_id, sizeof fieldseal_mac_key_0_id);
  hex(fieldseal_mac_key_0_check, sizeof fieldseal_mac_key_0_check);
  printf("%d %u %u %u %u %d %" PRIu64 " %" PRIu32 " %" PRIu32 "\\n", FIELDSEAL_TRIAL, FIELDSEAL_ANCHOR_COUNT,
         FIELDSEAL_MAC_KEY_COUNT, FIELDSEAL_MAC_KEY_0_SLOT, FIELDSEAL_TRIAL_ATTEMPTS, FIELDSEAL_HAS_CLOCK,
         FIELDSEAL_SEQUENCE_FLOOR, FIELDSEAL_SECURITY_FLOOR, FIELDSEAL_GENERATION_FLOOR);
  printf("%" PRIu32 " %" PRIu32 " %" PRIu32 "\\n", FIELDSEAL_SLOT_0_ADDRESS, FIELDSEAL_SLOT_1_ADDRESS,
         FIELDSEAL_SLOT_1_SIZE);
  printf("%" PRIu32 " %" PRIu32 " %u %" PRIu32 " %s\\n", FIELDSEAL_ERASE_PAGE, FIELDSEAL_WRITE_UNIT,
         FIELDSEAL_ERASED_VALUE, FIELDSEAL_DELTA_WINDOW, FIELDSEAL_PROFILE);
  printf("%u %u %s %d %u %u [%s] %d %u %u\\n", FIELDSEAL_SIGNATURES_NEEDED, FIELDSEAL_DEMAND_COUNT,
         FIELDSEAL_DEMAND_0_ROLE, FIELDSEAL_DEMAND_0_ALGORITHM, FIELDSEAL_DEMAND_0_ANCHORS, FIELDSEAL_DEMAND_0_SCOPE,
         FIELDSEAL_DEMAND_1_ROLE, FIELDSEAL_DEMAND_1_ALGORITHM, FIELDSEAL_DEMAND_1_ANCHORS, FIELDSEAL_DEMAND_1_SCOPE);
  return 0;
}
`;

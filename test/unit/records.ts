import { defaultMemoryMap } from '../../src/image/index.ts';
import type { UnitRecord } from '../../src/unit/index.ts';

/** A record of an asymmetric trial unit of Hollin Ridge, an invented maker. Its root is a placeholder. */
export function exampleRecord(changes: Partial<UnitRecord> = {}): UnitRecord {
  return {
    format: 'fieldseal.unit/1',
    serial: '0001',
    class_name: 'vent',
    vendor_id: '4638e62c-7425-55c8-b299-247f7870a11f',
    class_ids: ['149a892a-ea1e-5f65-bce3-27594a29ad0f'],
    device_id: '0b0f5e0a-3a0e-5b8e-9d5f-3a2d4d8a1c11',
    scheme: 'asymmetric',
    profile: 'suit-sha256-esp256-ecdh-a128ctr',
    clock: false,
    anchors: [{ name: '3000', spki: '00'.repeat(91), label: 'root', purpose: 'release' }],
    mac_keys: [],
    unit_keys: [],
    floors: { sequence_number: '0', security_version: 0, signer_generation: 0 },
    denied_signers: [],
    memory: defaultMemoryMap({ core: 'cortex-m' }),
    trial_attempts: 3,
    trial: true,
    debug: 'closed',
    ...changes,
  };
}

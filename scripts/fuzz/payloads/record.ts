/** The records and memory maps of the units that are attacked: small flash in memory. */
import { toHex } from '../../../src/bytes/index.ts';
import type { MemoryMap } from '../../../src/image/index.ts';
import { formatUuid, type ReleaseShape } from '../../../src/suit/index.ts';
import {
  type AuthenticationPolicy,
  type FlashSpan,
  readUnitRecord,
  type UnitRecord,
  unitFileLayout,
} from '../../../src/unit/index.ts';
import { MARL, RADIO } from '../../../test/unit/composed.ts';
import { DEVICE, VENDOR, VENT } from '../../../test/unit/maker.ts';
import { exampleRecord } from '../../../test/unit/records.ts';
import { type Authority, FUZZ_CLASS_KEY } from './authority.ts';
import type { CertificateAuthority } from './certified.ts';
import { throwawayAgreementKey } from './keys.ts';

/** By which content keys reach units of the asymmetric scheme. TEST KEY. */
export const OWN_KEY = throwawayAgreementKey('decryption');
const PAGE = 512;
const SLOT_PAGES = 2;
/** What most units need, and those that keep several signatures or a long one. */
export const ENVELOPE_PAGES = { usual: 6, large: 10 };
export const PROFILES = {
  p256: 'suit-sha256-esp256-ecdh-a128ctr',
  ed25519: 'suit-sha256-ed25519-ecdh-a128ctr',
  'hss-lms': 'suit-sha256-hsslms-a256kw-a256ctr',
  hmac: 'suit-sha256-hmac-a128kw-a128ctr',
} as const;

/** What a unit is made for. */
export interface RecordOptions {
  readonly authority: Authority | CertificateAuthority;
  readonly shape?: ReleaseShape;
  readonly deltaWindow?: number;
  readonly envelopePages?: number;
  readonly authentication?: AuthenticationPolicy;
  /** Whether content keys reach the unit by its own key pair. */
  readonly ownKey?: boolean;
  /** Who seals for a radio; none where absent. */
  readonly radioMaker?: CertificateAuthority;
}

export function recordOf(options: RecordOptions): UnitRecord {
  const { authority, shape = 'remapped', deltaWindow, authentication, ownKey = false, radioMaker } = options;
  const symmetric = authority.type === 'hmac';
  const { id, key } = FUZZ_CLASS_KEY;
  const map = mapOf(shape, options.envelopePages ?? ENVELOPE_PAGES.usual, radioMaker !== undefined);
  const secret = { pem: 'known to everybody' };
  return readUnitRecord(
    exampleRecord({
      vendor_id: formatUuid(VENDOR),
      class_ids: [formatUuid(VENT)],
      device_id: formatUuid(DEVICE),
      scheme: symmetric ? 'symmetric' : 'asymmetric',
      profile: PROFILES[authority.type],
      anchors: [
        ...('root' in authority
          ? [{ ...anchorOf(authority), label: 'root', purpose: 'release' as const }]
          : []),
        ...(radioMaker ? [radioAnchorOf(radioMaker)] : []),
      ],
      mac_keys: symmetric ? [{ id: toHex(id), label: 'class key', secret: { trial_hex: toHex(key) } }] : [],
      unit_keys: ownKey ? [{ purpose: 'decryption', spki: toHex(OWN_KEY.spki), secret }] : [],
      memory: { ...map, ...(deltaWindow !== undefined && { delta_window: deltaWindow }) },
      ...(authentication && { authentication }),
    }),
  );
}

function anchorOf({ root }: CertificateAuthority) {
  return { name: toHex(root.subject.der), spki: toHex(root.spki) };
}

function radioAnchorOf(maker: CertificateAuthority): UnitRecord['anchors'][number] {
  const class_ids = [formatUuid(RADIO)];
  const author = { vendor_id: formatUuid(MARL), class_ids, components: ['radio'], signer_generation: 0 };
  return { ...anchorOf(maker), label: 'marl', purpose: 'dependency', author };
}

function mapOf(shape: ReleaseShape, envelopePages: number, radio: boolean): MemoryMap {
  const size = SLOT_PAGES * PAGE;
  const [first, second] = shape === 'staged' ? ['run', 'staging'] : ['A', 'B'];
  const envelopes = 2 * envelopePages * PAGE;
  const state = 8 * PAGE;
  const areas = [0, 1].map((i) => ({ address: 2 * size + envelopes + state + i * size, size }));
  return {
    shape,
    core: 'none',
    slots: [
      { name: first!, address: 0, size },
      { name: second!, address: size, size },
    ],
    envelopes: { address: 2 * size, size: envelopes },
    state: { address: 2 * size + envelopes, size: state },
    flash: { erase_page: PAGE, write_unit: 8, erased_value: 0xff, endurance: 10_000 },
    ram: { address: 0, size: 0 },
    leave_out: [],
    ...(radio && { components: [{ name: 'radio', areas, started: false }] }),
  };
}

/** The second slot, its part of the envelope area, the marks, the second area of a radio, and the notes of their pages. */
export function freeOf({ memory }: UnitRecord): FlashSpan[] {
  const { flashOffset, notesOffset, notesSize, flash } = unitFileLayout(memory);
  const noteSize = notesSize / (flash.size / memory.flash.erase_page);
  const further = flash.components.map(([, second]) => second);
  return [flash.slots[1], flash.envelopes[1], flash.state, ...further].flatMap(({ offset, size }) => [
    { offset: flashOffset + offset, size },
    { offset: notesOffset + (offset / PAGE) * noteSize, size: (size / PAGE) * noteSize },
  ]);
}

/**
 * Units with a radio co-processor. Its image comes from Marl, an invented maker of radios with keys of its own; Hollin Ridge
 * names the release of Marl in its own and seals both together. Test keys.
 */
import { fromUtf8, sourceOf, toHex } from '../../src/bytes/index.ts';
import { encode } from '../../src/cbor/index.ts';
import { sha256 } from '../../src/crypto/index.ts';
import { defaultMemoryMap, type MemoryMap, type SlotShape } from '../../src/image/index.ts';
import {
  classId,
  type DependencyFacts,
  describeRelease,
  formatUuid,
  integratedUris,
  type ManifestDescription,
  type SectionName,
  vendorId,
  withDependencies,
  writeManifest,
} from '../../src/suit/index.ts';
import type { CheckRequest, UnitRecord, UnitState, UnitView } from '../../src/unit/index.ts';
import { checkForUnit, type Verdict } from '../../src/unit/index.ts';
import type { CertificateDescription } from '../../src/x509/index.ts';
import { type TestChain, testChain } from '../x509/support.ts';
import { envelopeOf, imageOf, type Sealing, scopeOf, unitOf, VENDOR, VENT } from './maker.ts';

export const MARL = vendorId('marl.example');
export const RADIO = classId(MARL, 'MR-7');
export const RADIO_ENVELOPE = '#radio.suit';

/** Root, intermediate and signer of Marl, for its radio. */
export function marlChain(changes: Partial<CertificateDescription> = {}): Promise<TestChain> {
  return testChain('p256', { scopes: [scopeOf(RADIO)], ...changes });
}

/** A memory map with a radio beside the image that runs. */
export function composedMap(started = false, shape: SlotShape = 'remapped'): MemoryMap {
  const map = defaultMemoryMap({ core: 'none', shape });
  const base = 0x10_0000;
  const size = 64 * 1024;
  const areas = [
    { address: base, size },
    { address: base + size, size },
  ];
  return { ...map, components: [{ name: 'radio', areas, started }] };
}

/** A unit of class VC-2 with a radio; it trusts Hollin Ridge for itself, and Marl for the radio. */
export function composedUnit(
  own: TestChain,
  marl: TestChain,
  changes: {
    record?: Partial<UnitRecord>;
    state?: Partial<UnitState>;
    memory?: MemoryMap;
    generation?: number;
  } = {},
): UnitView {
  const { record, state, memory = composedMap(), generation = 0 } = changes;
  const author = {
    vendor_id: formatUuid(MARL),
    class_ids: [formatUuid(RADIO)],
    components: ['radio'],
    signer_generation: generation,
  };
  const anchor = (chain: TestChain, label: string) => ({
    name: toHex(chain.anchor.name),
    spki: toHex(chain.anchor.spki),
    label,
  });
  return unitOf(own, {
    record: {
      memory,
      anchors: [
        { ...anchor(own, 'root'), purpose: 'release' },
        { ...anchor(marl, 'marl'), purpose: 'dependency', author },
      ],
      ...record,
    },
    ...(state && { state }),
  });
}

export interface PartOptions {
  readonly seal: Sealing;
  readonly image?: Uint8Array;
  readonly sequenceNumber?: number;
  readonly start?: boolean;
  readonly component?: string;
  readonly vendor?: Uint8Array;
  readonly deviceClass?: Uint8Array;
  /** What travels in place of the image. */
  readonly payload?: Uint8Array;
  readonly uri?: string | undefined;
  readonly change?: (description: ManifestDescription) => ManifestDescription;
  /** What becomes of the manifest's bytes before they are sealed. */
  readonly mutate?: (manifest: Uint8Array) => Uint8Array;
}

/** A sealed part of a release: its envelope, and what a dependent needs to know of it. */
export interface Part {
  readonly envelope: Uint8Array;
  readonly image: Uint8Array;
  readonly digest: Uint8Array;
  readonly sections: readonly SectionName[];
}

/** What Marl seals for its radio: an ordinary release of one image. */
export async function radioRelease(options: PartOptions): Promise<Part> {
  const { seal, image = imageOf(3000, 11), payload = image, uri = '#image' } = options;
  const { change = (same: ManifestDescription) => same, component = 'radio' } = options;
  const { mutate = (same: Uint8Array) => same } = options;
  const description = change(
    describeRelease({
      shape: 'remapped',
      sequenceNumber: options.sequenceNumber ?? 4,
      vendorId: options.vendor ?? MARL,
      classId: options.deviceClass ?? RADIO,
      start: options.start ?? false,
      component: component.split('/').map(fromUtf8),
      images: [{ digest: sha256(image), sizeBytes: image.length, uri }],
    }),
  );
  const { manifest: written, severed } = writeManifest(description);
  const manifest = mutate(written);
  const integrated = uri === '#image' ? [{ key: uri, bytes: payload }] : [];
  const envelope = await envelopeOf({ manifest, severed, integrated, seal });
  return { envelope, image, digest: sha256(encode(manifest)), sections: [...description.sequences.keys()] };
}

export interface WholeOptions {
  readonly seal: Sealing;
  readonly radio: Part;
  readonly image?: Uint8Array;
  readonly payload?: Uint8Array;
  readonly sequenceNumber?: number;
  /** What lies in the envelope in the place of the radio's; undefined: it is beside it. */
  readonly radioEnvelope?: Uint8Array | undefined;
  readonly radioUri?: string;
  readonly facts?: Partial<DependencyFacts>;
  readonly change?: (description: ManifestDescription) => ManifestDescription;
  /** Before the dependency is added. */
  readonly before?: (description: ManifestDescription) => ManifestDescription;
}

/** What Hollin Ridge seals: its own image, and the radio's release named by its digest. */
export async function wholeRelease(options: WholeOptions): Promise<Part> {
  const { seal, radio, image = imageOf(5000), payload = image, radioUri = RADIO_ENVELOPE } = options;
  const { change = (same: ManifestDescription) => same, before = (same: ManifestDescription) => same } =
    options;
  const [uri] = integratedUris('remapped');
  const base = describeRelease({
    shape: 'remapped',
    sequenceNumber: options.sequenceNumber ?? 7,
    vendorId: VENDOR,
    classId: VENT,
    start: true,
    images: [{ digest: sha256(image), sizeBytes: image.length, uri: uri! }],
  });
  const facts: DependencyFacts = {
    digest: radio.digest,
    uri: radioUri,
    identifier: [fromUtf8('radio.suit')],
    sections: radio.sections,
    ...options.facts,
  };
  const description = change(withDependencies(before(base), [facts]));
  const { manifest, severed } = writeManifest(description);
  const inside = 'radioEnvelope' in options ? options.radioEnvelope : radio.envelope;
  const integrated = [
    { key: uri!, bytes: payload },
    ...(inside && radioUri.startsWith('#') ? [{ key: radioUri, bytes: inside }] : []),
  ];
  const envelope = await envelopeOf({ manifest, severed, integrated, seal });
  return { envelope, image, digest: sha256(encode(manifest)), sections: [...description.sequences.keys()] };
}

/** What `unit` says to it. */
export function checkWhole(
  unit: UnitView,
  { envelope }: { readonly envelope: Uint8Array },
  more: Partial<CheckRequest> = {},
): Verdict {
  return checkForUnit({ unit, envelope: sourceOf(envelope), ...more });
}

/** An invented fleet of Hollin Ridge, and payloads that its units take or refuse in many ways. Test keys. */
import fc from 'fast-check';
import { fromHex, sourceOf, toHex } from '../../../src/bytes/index.ts';
import { defaultMemoryMap, type SlotShape } from '../../../src/image/index.ts';
import type { Classes, ClassOfUnits } from '../../../src/rehearsal/acceptance/classes.ts';
import type { UnitEntry, UnitFacts } from '../../../src/rehearsal/acceptance/inventory/facts.ts';
import { runningImages } from '../../../src/rehearsal/acceptance/running.ts';
import { classId, formatUuid } from '../../../src/suit/index.ts';
import { decryptionKeyId, type UnitRecord } from '../../../src/unit/index.ts';
import { fingerprint } from '../../../src/x509/index.ts';
import { deltaRelease, memoryFor } from '../../unit/deltas.ts';
import { decryptionKey, encryptedRelease, toUnit } from '../../unit/encrypted.ts';
import {
  CLASS_KEY,
  COHORT_KEY,
  DEVICE,
  imageOf,
  macedWith,
  makerChain,
  release,
  signedAt,
  signedBy,
  symmetricUnit,
  unitOf,
  VENDOR,
  VENT,
} from '../../unit/maker.ts';
import { all, by, hand, chain as roleChain, together } from '../../unit/policy-maker.ts';

export const chain = await makerChain();
const spare = await makerChain();
const later = await makerChain('p256', { generation: 2 });
const trial = await makerChain('p256', { trial: true });
const own = decryptionKey();
const OWN_KEY_ID = toHex(decryptionKeyId(own.spki));

const root = (label: string, { anchor }: typeof chain) => ({
  label,
  name: toHex(anchor.name),
  spki: toHex(anchor.spki),
  purpose: 'release' as const,
});
const ROOTS = [
  root('root', chain),
  root('spare', spare),
  root('later', later),
  root('roles', roleChain),
  root('trial', trial),
];
const COHORTS = { north: CLASS_KEY, south: COHORT_KEY };
const REVISION_B = classId(VENDOR, 'VC-2/B');
const KNOWN = { version: '1.4.0', sequenceNumber: 5n, securityVersion: 1, manifestDigest: '55'.repeat(32) };

interface ClassForm {
  readonly shape?: SlotShape;
  readonly symmetric?: boolean;
  readonly record?: Partial<UnitRecord>;
}

function classOf(name: string, { shape, symmetric, record = {} }: ClassForm = {}): ClassOfUnits {
  const records = new Map<string | undefined, UnitRecord>();
  const make = (cohort: string | undefined): UnitRecord => {
    if (!symmetric) {
      const made = unitOf(chain, { ...(shape && { shape }), record: { anchors: ROOTS, ...record } }).record;
      return { ...made, class_name: name };
    }
    if (cohort === undefined) throw new Error('units of this class hold a key by cohort');
    const key = COHORTS[cohort as keyof typeof COHORTS];
    return { ...symmetricUnit([key]).record, class_name: name };
  };
  return {
    name,
    scheme: symmetric ? 'symmetric' : 'asymmetric',
    slotNames: defaultMemoryMap({ core: 'none', ...(shape && { shape }) }).slots.map((slot) => slot.name),
    cohorts: symmetric ? Object.keys(COHORTS) : undefined,
    identifiersOf: (revision) => [formatUuid(VENT), formatUuid(classId(VENDOR, `VC-2/${revision}`))],
    recordOf(cohort) {
      const known = records.get(cohort) ?? make(cohort);
      records.set(cohort, known);
      return known;
    },
    deviceIdOf: (serial) => formatUuid(serial === '0001' ? DEVICE : classId(VENDOR, serial)),
    decryptionKeyIdOf: () => undefined,
    roots: new Map(ROOTS.map(({ label, spki }) => [label, fingerprint(fromHex(spki))])),
    releaseOf: (told) => {
      const wanted = 'version' in told ? told.version === KNOWN.version : told.sequenceNumber === '5';
      return wanted ? KNOWN : undefined;
    },
  };
}

const KEYED: Partial<UnitRecord> = {
  unit_keys: [{ purpose: 'decryption', spki: toHex(own.spki), secret: { pem: 'in custody of the test' } }],
};

export const CLASSES: Classes = new Map(
  [
    classOf('vent'),
    classOf('staged', { shape: 'staged' }),
    classOf('linked', { shape: 'linked' }),
    classOf('two', { record: { authentication: all({ role: 'author' }, { role: 'approver' }) } }),
    classOf('dosing', { symmetric: true }),
    classOf('keyed', { record: KEYED }),
    classOf('thin', { record: { memory: memoryFor('remapped') } }),
  ].map((each) => [each.name, each]),
);

const author = await hand('author');
const approver = await hand('approver', { generation: 3 });

interface Payload {
  readonly envelope: Uint8Array;
  readonly digest: string;
}

async function payload(
  made: Promise<{ envelope: Uint8Array; manifestDigest?: Uint8Array }>,
): Promise<Payload> {
  const { envelope, manifestDigest } = await made;
  return { envelope, digest: toHex(manifestDigest ?? new Uint8Array(32)) };
}

function changed({ envelope, digest }: Payload, at: number): Payload {
  const bytes = envelope.slice();
  bytes[at]! ^= 1;
  return { envelope: bytes, digest };
}

const ordinary = await payload(release({ seal: signedBy(chain) }));

const runs = await release({ seal: signedBy(chain), images: [imageOf(5000, 9)], sequenceNumber: 6 });
const byDelta = deltaRelease({
  images: [imageOf(5100, 9)],
  precursors: runs.images,
  seal: signedBy(chain),
  sequenceNumber: 7,
});
const older = await release({ seal: signedBy(chain), images: [imageOf(5000, 3)], sequenceNumber: 5 });
const OLDER_DIGEST = toHex(older.manifestDigest);
/** Releases that units run, at hand; the delta is for the first. */
export const RUNNING_DIGEST = toHex(runs.manifestDigest);
export const RUNNING = runningImages([sourceOf(runs.envelope), sourceOf(older.envelope)]);

/** Payloads by what is particular about them. */
export const PAYLOADS: Readonly<Record<string, Payload>> = {
  ordinary,
  'of revision B': await payload(release({ seal: signedBy(chain), classId: REVISION_B })),
  'security version 3': await payload(release({ seal: signedAt(chain, 3) })),
  'security version malformed': await payload(release({ seal: signedAt(chain, 'three') })),
  'for one unit': await payload(release({ seal: signedBy(chain), deviceId: DEVICE })),
  'of generation 2': await payload(release({ seal: signedBy(later) })),
  'by a trial signer': await payload(release({ seal: signedBy(trial) })),
  'by two chains': await payload(release({ seal: together(signedBy(spare), signedBy(chain)) })),
  'by author and approver': await payload(release({ seal: together(by(author), by(approver)) })),
  'by author alone': await payload(release({ seal: by(author) })),
  detached: await payload(release({ seal: signedBy(chain), detached: true })),
  staged: await payload(release({ seal: signedBy(chain), shape: 'staged' })),
  linked: await payload(
    release({ seal: signedBy(chain), shape: 'linked', images: [imageOf(5000), imageOf(6000, 2)] }),
  ),
  'for one cohort': await payload(release({ seal: macedWith(CLASS_KEY) })),
  'for both cohorts': await payload(release({ seal: macedWith(COHORT_KEY, CLASS_KEY) })),
  'by delta': await payload(byDelta),
  encrypted: await payload(encryptedRelease({ recipients: [toUnit(own)], seal: signedBy(chain) })),
  'image changed': changed(ordinary, ordinary.envelope.length - 1),
  'manifest changed': changed(ordinary, Buffer.from(ordinary.envelope).indexOf('#image')),
  'no envelope': { envelope: Uint8Array.of(0xd8, 0x6b, 0x00), digest: '00'.repeat(32) },
};

export const sourceFor = (name: string) => sourceOf(PAYLOADS[name]!.envelope);

/** Any unit that an inventory might hold, with facts close to what payloads compare them with. */
export function anyUnit(digest: string): fc.Arbitrary<UnitFacts> {
  const given = (weight: number) => {
    return <T>(...values: T[]) =>
      fc.oneof(
        { weight: 10 - weight, arbitrary: fc.constant(undefined) },
        { weight, arbitrary: fc.constantFrom(...values) },
      );
  };
  const [seldom, maybe, mostly] = [given(1), given(5), given(8)];
  const digests = (...more: string[]) => maybe(digest, '44'.repeat(32), ...more);
  const numbers = ['0', '3', '5', '6', '7', '8', '12', '18446744073709551615'];
  const other = fc.oneof(
    { weight: 6, arbitrary: fc.constant({}) },
    {
      weight: 4,
      arbitrary: fc.record({
        other_slot: fc.constantFrom('filling', 'ready', 'kept', 'on trial'),
        other_sequence_number: fc.constantFrom(...numbers),
        other_manifest_digest: digests(),
      }),
    },
  );
  const unit = fc.record({
    serial: fc.constantFrom('0001', '0002', '0003', '0004'),
    class: fc.constantFrom(...CLASSES.keys()),
    hardware_revision: maybe('A', 'B'),
    device_id: seldom(formatUuid(DEVICE), formatUuid(VENT)),
    profile: seldom('suit-sha256-ed25519-ecdh-a128ctr', 'suit-sha256-esp256-ecdh-a128ctr'),
    cohort: mostly('north', 'south'),
    clock: maybe('yes', 'no'),
    trial: seldom('yes', 'no'),
    debug: maybe('open', 'closed'),
    marks: seldom('lost', 'readable'),
    anchors: seldom('root', 'spare', 'root spare', 'spare root', 'later', 'roles', 'trial root'),
    denied_signers: seldom(
      '11'.repeat(32),
      fingerprint(chain.signer.spki),
      `${fingerprint(author.certificate.spki)} ${'22'.repeat(32)}`,
    ),
    decryption_key_id: maybe(OWN_KEY_ID, '00'.repeat(8)),
    version: maybe('1.4.0'),
    sequence_number: mostly(...numbers),
    manifest_digest: digests('55'.repeat(32), RUNNING_DIGEST, OLDER_DIGEST),
    running_slot: maybe('A', 'B'),
    fallen_digest: seldom(digest, '44'.repeat(32)),
    fallen_tries: maybe('1', '2', '3', '9'),
    sequence_floor: seldom(...numbers),
    security_version: seldom('0', '2', '3', '4'),
    signer_generation: seldom('0', '1', '2', '3', '4'),
    slot_size: seldom('4999', '5000', '5001', '5999', '6000', '8KiB', '256KiB'),
    envelope_area_size: seldom('512', '1KiB', '2000', '4KiB', '64KiB'),
    battery_mwh: maybe('10', '4000'),
    link: maybe('nb-iot'),
  });
  return fc.tuple(unit, other).map(([own, beside]) => ({ ...own, ...beside }));
}

/** Units as a source tells them, one a line. */
export async function* unitsOf(units: readonly UnitFacts[]): AsyncGenerator<UnitEntry> {
  for (const [i, facts] of units.entries()) yield { place: { line: i + 2 }, facts };
}

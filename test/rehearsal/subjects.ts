/** Payloads of Hollin Ridge, an invented maker, and the units they are rehearsed against: one for each kind that matters. */
import { toHex } from '../../src/bytes/index.ts';
import type { SlotShape } from '../../src/image/index.ts';
import { signedBlock } from '../../src/rehearsal/forgeries/blocks.ts';
import { Throwaway } from '../../src/rehearsal/forgeries/throwaway.ts';
import type { Subject } from '../../src/rehearsal/index.ts';
import type { UnitView } from '../../src/unit/index.ts';
import { writeName } from '../../src/x509/index.ts';
import { edited } from '../delta/helpers.ts';
import { composedUnit, marlChain, radioRelease, wholeRelease } from '../unit/composed.ts';
import { deltaRelease, memoryFor } from '../unit/deltas.ts';
import {
  decryptionKey,
  encryptedRelease,
  KEK,
  toHolders,
  toUnit,
  unitWithKek,
  unitWithKey,
} from '../unit/encrypted.ts';
import {
  CLASS_KEY,
  COHORT_KEY,
  imageOf,
  macedWith,
  makerChain,
  release,
  scopeOf,
  signedBy,
  symmetricUnit,
  unitOf,
  VENT,
} from '../unit/maker.ts';
import { all, asking, by, hand, together } from '../unit/policy-maker.ts';
import { chain as trustMaker, trustUnit } from '../unit/trust-maker.ts';

const NOW = new Date('2026-11-25T12:00:00Z');
const TEXT = { language: 'en', modelName: 'VC-2', updateDescription: 'Repairs the vent motor, and more' };
const IMAGE = imageOf(5000);

interface Offered {
  readonly envelope: Uint8Array;
}

function subject(
  { record, macKeys, unwrappers }: UnitView,
  offer: Offered & { image?: Uint8Array },
): Subject {
  return { offer, record, macKeys, unwrappers, now: NOW };
}

/** Asymmetric, two slots, image in the envelope, production. */
export async function plainSubject(type: 'p256' | 'ed25519' = 'p256', shape: SlotShape = 'remapped') {
  const maker = await makerChain(type);
  const images = shape === 'linked' ? [IMAGE, imageOf(4900, 7)] : [IMAGE];
  const { envelope } = await release({
    seal: signedBy(maker, {}, type),
    shape,
    images,
    text: TEXT,
    version: '1.4.0',
  });
  return subject(unitOf(maker, { type, shape }), { envelope });
}

/** As the plain one, with its image beside it, and units with a clock. */
export async function detachedSubject() {
  const maker = await makerChain();
  const { envelope } = await release({ seal: signedBy(maker), detached: true });
  return subject(unitOf(maker, { record: { clock: true } }), { envelope, image: IMAGE });
}

/** Units that set memory aside for deltas. */
export async function deltaSubject(shape: SlotShape = 'remapped') {
  const maker = await makerChain();
  const images = shape === 'linked' ? [IMAGE, IMAGE] : [IMAGE];
  const { envelope } = await release({ seal: signedBy(maker), shape, images });
  return subject(unitOf(maker, { shape, record: { memory: memoryFor(shape) } }), { envelope });
}

/** A payload that depends on the release of another author, for the radio beside the image that runs. */
export async function composedSubject() {
  const [own, marl] = [await makerChain(), await marlChain()];
  const radio = await radioRelease({ seal: signedBy(marl) });
  const { envelope } = await wholeRelease({ seal: signedBy(own), radio });
  return subject(composedUnit(own, marl), { envelope });
}

/** A hash-based signer, under a root on another curve. */
export async function hashBasedSubject() {
  const authority = await Throwaway.make([{ label: 'root' }], NOW, false);
  const likeness = {
    algorithm: -46,
    subject: writeName([['CN', 'line 1']]),
    role: undefined,
    scopes: [scopeOf(VENT)],
    generation: 1,
    trial: false,
    anchor: 'root',
  };
  const signer = await authority.hand(likeness);
  const { envelope } = await release({ seal: async (digest) => [await signedBlock(signer, digest)] });
  const { certificate } = authority.line().root;
  const [name, spki] = [certificate.subject.der, certificate.spki].map(toHex);
  const record = {
    profile: 'suit-sha256-hsslms-a256kw-a256ctr',
    anchors: [{ name: name!, spki: spki!, label: 'root', purpose: 'release' }],
  } as const;
  return subject(unitOf(await makerChain(), { record }), { envelope });
}

/** One running slot and a staging area. */
export async function stagedSubject() {
  return plainSubject('p256', 'staged');
}

/** The symmetric scheme: the class key, held by a unit on trial. */
export async function symmetricSubject() {
  const { envelope } = await release({ seal: macedWith(CLASS_KEY), text: TEXT });
  return subject(symmetricUnit([CLASS_KEY]), { envelope });
}

/** The symmetric scheme with a key for each cohort. */
export async function cohortSubject() {
  const { envelope } = await release({ seal: macedWith(CLASS_KEY, COHORT_KEY) });
  const unit = symmetricUnit([COHORT_KEY]);
  const record = {
    ...unit.record,
    mac_keys: unit.record.mac_keys.map((key) => ({ ...key, cohort: 'north' })),
  };
  return subject({ ...unit, record }, { envelope });
}

/** The symmetric scheme in a production class: the key stays closed. */
export async function closedSubject() {
  const { macKeys: _, ...rest } = await symmetricSubject();
  return rest;
}

/** Encrypted for the unit's own key, decrypted on the fly. */
export async function encryptedSubject(
  profile = 'suit-sha256-esp256-ecdh-a128ctr',
  shape: SlotShape = 'remapped',
) {
  const maker = await makerChain();
  const own = decryptionKey();
  const { envelope } = await encryptedRelease({
    recipients: [toUnit(own)],
    seal: signedBy(maker),
    profile,
    shape,
  });
  return subject(unitWithKey(maker, own, { profile, shape }), { envelope });
}

/** Encrypted under a key that the class shares. */
export async function sharedKeySubject() {
  const { envelope } = await encryptedRelease({
    recipients: [toHolders(KEK)],
    seal: macedWith(CLASS_KEY),
    profile: 'suit-sha256-hmac-a128kw-a128ctr',
  });
  const unit = unitWithKek(KEK);
  const record = {
    ...unit.record,
    content_keys: [
      {
        id: Buffer.from(KEK.id).toString('hex'),
        label: 'content key',
        secret: { pem: 'in custody of the test' },
      },
    ],
  };
  return subject({ ...unit, record }, { envelope });
}

/** An author and an approver, both needed, with limited rights. */
export async function policySubject() {
  const [author, approver] = [await hand('author'), await hand('approver')];
  const { envelope } = await release({ seal: together(by(author), by(approver)) });
  const unit = asking(all({ role: 'author' }, { role: 'approver' }), {
    rights: [{ role: 'author', components: ['main'], commands: ['fetch', 'invoke'] }],
  });
  return subject(unit, { envelope });
}

/** A unit that takes trust updates, and has a spare root. */
export async function trustSubject() {
  const { envelope } = await release({ seal: signedBy(trustMaker), version: '1.4.0' });
  return subject(trustUnit(), { envelope });
}

/** A delta in the envelope, and the whole image beside it. */
export async function sealedByDelta(shape: SlotShape = 'remapped') {
  const maker = await makerChain();
  const made = { shape, images: [IMAGE], precursors: [edited(IMAGE, 5, 4)], seal: signedBy(maker) };
  const { envelope } = await deltaRelease(made);
  const unit = unitOf(maker, { record: { memory: memoryFor(shape) } });
  return subject(unit, { envelope, image: IMAGE });
}

/** All of them. */
export const SUBJECTS: readonly { readonly name: string; readonly make: () => Promise<Subject> }[] = [
  { name: 'two slots, ESP256', make: plainSubject },
  { name: 'linked slots, Ed25519', make: () => plainSubject('ed25519', 'linked') },
  { name: 'an image beside the envelope, and a clock', make: detachedSubject },
  { name: 'a staging area', make: stagedSubject },
  { name: 'a payload by delta', make: sealedByDelta },
  { name: 'a payload by delta, a staging area', make: () => sealedByDelta('staged') },
  { name: 'a policy area and a spare root', make: trustSubject },
  { name: 'the symmetric scheme', make: symmetricSubject },
  { name: 'the symmetric scheme, its key closed', make: closedSubject },
  { name: 'the symmetric scheme, a key for each cohort', make: cohortSubject },
  { name: 'an encrypted image, AES-CTR', make: encryptedSubject },
  { name: 'an encrypted image, AES-GCM', make: () => encryptedSubject('suit-sha256-esp256-ecdh-a128gcm') },
  {
    name: 'an encrypted image in a staging area',
    make: () => encryptedSubject('suit-sha256-esp256-ecdh-a128ctr', 'staged'),
  },
  {
    name: 'an encrypted image in a staging area, AES-GCM',
    make: () => encryptedSubject('suit-sha256-esp256-ecdh-a128gcm', 'staged'),
  },
  { name: 'an image encrypted under a key of the class', make: sharedKeySubject },
  { name: 'an author and an approver', make: policySubject },
  { name: 'a radio of another author', make: composedSubject },
  { name: 'deltas into two slots', make: deltaSubject },
  { name: 'deltas into a staging area', make: () => deltaSubject('staged') },
];

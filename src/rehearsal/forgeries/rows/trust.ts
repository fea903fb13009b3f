/** Trust updates: whom units believe is said by those made for it, newer each time, and never so that a unit is left dead. */
import { encode } from '../../../cbor/index.ts';
import { sha256 } from '../../../crypto/index.ts';
import { describePolicyUpdate, parseUuid, writeManifest } from '../../../suit/index.ts';
import { type AnchorPurpose, encodeTrustPolicy, type TrustPolicy } from '../../../unit/index.ts';
import { signedBlock } from '../blocks.ts';
import { Draft, ELEMENT } from '../draft.ts';
import { type Attack, type Forgery, onField } from '../forgery.ts';
import { refusedWith } from '../heard.ts';
import { partsOf } from '../images.ts';
import type { Asked, Lab } from '../lab.ts';
import type { Offer } from '../parts.ts';
import { sealedEnvelope } from '../seals.ts';
import type { Hand } from '../throwaway.ts';
import { certifiedWith, firstHand } from './hands.ts';
import { withBadCell } from './life.ts';

const ABORT = 14;
const REPORT = 15;
const INVOKE = 23;
const NOTHING: TrustPolicy = { minimumGeneration: 0, denied: [], retired: [], securityVersion: 0 };
const DENIED = 'd5'.repeat(32);

/** What is odd about a trust update; sound where it says nothing. */
interface Update {
  readonly policy?: Partial<TrustPolicy>;
  readonly content?: Uint8Array;
  readonly number?: bigint;
  readonly by?: (lab: Lab) => Hand | Promise<Hand>;
  /** In place of the digest of the policy. */
  readonly digest?: Uint8Array;
  /** What else becomes of the manifest. */
  readonly draft?: (draft: Draft) => void;
}

/** A signer of trust updates below the root of those who seal for the stand-in. */
const trustHand = (lab: Lab): Promise<Hand> =>
  lab.standIn.authority.hand(firstHand(lab).likeness, { purpose: 'trust' });

async function updateFor(lab: Lab, odd: Update): Promise<Offer> {
  const { policy, content, number = 1n, by = trustHand } = odd;
  const hand = await by(lab);
  const bytes = content ?? encodeTrustPolicy({ ...NOTHING, ...policy });
  const { manifest } = writeManifest(
    describePolicyUpdate({
      sequenceNumber: number,
      vendorId: lab.vendorId,
      classId: parseUuid(lab.record.class_ids.at(-1)!),
      content: bytes,
      digest: odd.digest ?? sha256(bytes),
    }),
  );
  const bare = { ...lab.unsealed.parts, manifest, severed: new Map(), integrated: [] };
  const draft = new Draft(bare);
  odd.draft?.(draft);
  const parts = partsOf(draft, bare);
  const envelope = await sealedEnvelope(parts, async (digest) => [await signedBlock(hand, digest, {})]);
  return { envelope, image: undefined };
}

/** A trust update, offered to the stand-in as it is, or as it is by then. */
const update = (odd: Update, asked: (lab: Lab) => Asked = () => ({})): Attack => ({
  against: 'stand-in',
  carryOut: async (lab) => lab.askStandIn(await updateFor(lab, odd), asked(lab)),
});

/** A unit that took a trust update with the number 5 before. */
const told: () => Asked = () => ({
  state: () => ({
    trust: {
      rank: 'release' as AnchorPurpose,
      numbers: { release: 5n, spare: 0n },
      manifestDigest: new Uint8Array(32),
      policy: { ...NOTHING, denied: [DENIED] },
    },
  }),
});

export const TRUST_ROWS: readonly Forgery[] = [
  {
    name: 'A trust update by a signer of releases',
    threat: 'UPD.UNAPPROVED',
    built: 'a trust update that denies nobody, signed by whoever seals the release',
    where: ['asymmetric', 'single signature'],
    refusal: 'component-not-for-purpose',
    attack: update({ by: firstHand }),
  },
  {
    name: 'The release by a signer of trust updates',
    threat: 'UPD.UNAPPROVED',
    built: 'the manifest as it is, signed by somebody certified for trust updates only',
    where: ['asymmetric', 'single signature'],
    refusal: 'component-not-for-purpose',
    attack: certifiedWith(() => ({ purpose: 'trust' })),
  },
  {
    name: 'The release by a signer of announcements',
    threat: 'UPD.UNAPPROVED',
    built: 'the manifest as it is, signed by somebody certified for announcements only',
    where: ['asymmetric', 'single signature'],
    refusal: 'signer-purpose-wrong',
    attack: certifiedWith(() => ({ purpose: 'announcement' })),
  },
  {
    name: 'A trust update that says nothing a unit understands',
    threat: 'IMG.FORMAT',
    built: 'a trust update with another document in place of its policy',
    where: ['asymmetric'],
    refusal: 'policy-malformed',
    attack: update({ content: encode(['no policy']) }),
  },
  {
    name: 'A leaked root retires the others',
    threat: 'KEY.EXPOSURE',
    built: 'a trust update signed below a root in use, which retires a root of the unit',
    where: ['asymmetric'],
    refusal: 'retirement-not-permitted',
    attack: {
      against: 'stand-in',
      carryOut: async (lab) => {
        const { certificate } = lab.standIn.authority.line().root;
        const retired = [Buffer.from(sha256(certificate.spki)).toString('hex')];
        return lab.askStandIn(await updateFor(lab, { policy: { retired } }));
      },
    },
  },
  {
    name: 'An older trust update sent again',
    threat: 'IMG.EXPIRED',
    built: 'a trust update with a number below the last one that the unit took',
    where: ['asymmetric'],
    refusal: 'trust-number-too-low',
    attack: update({ number: 4n, policy: { denied: [DENIED] } }, told),
  },
  {
    name: 'A trust update that lets a denied key back in',
    threat: 'KEY.EXPOSURE',
    built: 'a newer trust update that no longer denies what the last one did',
    where: ['asymmetric'],
    refusal: 'trust-update-loosens',
    attack: update({ number: 6n }, told),
  },
  {
    name: 'A trust update that would leave the unit dead',
    threat: 'MFST.OVERRIDE',
    built: 'a trust update whose security floor lies above every image on board',
    where: ['asymmetric', 'policy area'],
    refusal: 'trust-update-strands',
    attack: update({ policy: { securityVersion: 0xffff_ffff } }),
  },
  {
    name: 'A policy under the digest of another',
    threat: 'MFST.OVERRIDE',
    built: 'a trust update whose policy is not the one that its digest names',
    where: ['asymmetric'],
    refusal: 'policy-malformed',
    attack: update({ digest: new Uint8Array(32) }),
  },
  {
    name: 'A policy that is to be started',
    threat: 'IMG.REPLACE',
    built: 'a trust update with a section that would start what it wrote',
    where: ['asymmetric'],
    refusal: 'policy-malformed',
    attack: update({ draft: (draft) => draft.setSection(ELEMENT.invoke, [INVOKE, 2]) }),
  },
  {
    name: 'A trust update that gives up',
    threat: 'IMG.FORMAT',
    built: 'a trust update whose install section ends in a command to abort',
    where: ['asymmetric'],
    refusal: 'policy-malformed',
    attack: update({
      draft: (draft) => draft.setSection(ELEMENT.install, [...draft.section(ELEMENT.install), ABORT, REPORT]),
    }),
  },
  {
    name: 'A trust update for a unit that takes none',
    threat: 'IMG.LOCATION',
    built: 'a sound trust update, to a unit without an area for its policy',
    where: ['asymmetric', 'no policy area'],
    refusal: 'component-unknown',
    attack: update({}),
  },
  {
    name: 'A policy area that does not hold what was written',
    threat: 'IMG.REPLACE',
    built: 'one bit of the policy area reads otherwise than it was programmed by a sound trust update',
    where: ['asymmetric', 'policy area'],
    refusal: 'image-digest-wrong',
    attack: onField(async (field, lab) => {
      const [half] = field.layout.flash.policy!;
      const { unit } = field.power('kept', { through: (flash) => withBadCell(flash, half.offset + 1) });
      return refusedWith(unit.install(field.request(await updateFor(lab, {}))).refusal);
    }),
  },
];

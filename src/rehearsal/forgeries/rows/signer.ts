/** Step 2: certificates that are absent, exchanged, foreign, or of somebody who may not seal for this unit. */
import { fromHex, fromUtf8 } from '../../../bytes/index.ts';
import { LABEL } from '../../../cose/index.ts';
import { sha256 } from '../../../crypto/index.ts';
import { classId, formatUuid } from '../../../suit/index.ts';
import { fingerprint, issuerOf } from '../../../x509/index.ts';
import { closeBlock, openBlock, signedBlock, x5chain } from '../blocks.ts';
import { type Attack, dismantled, type Forgery, later, sealedWith } from '../forgery.ts';
import type { Lab } from '../lab.ts';
import { sealedDigest, sealing } from '../seals.ts';
import { issue, type Throwaway, validAround } from '../throwaway.ts';
import { certifiedWith, DAY, firstHand, strangerLike, withHand } from './hands.ts';

/** SubjectPublicKeyInfo of the signer of draft-ietf-suit-manifest appendix B, whose private half is printed there. */
const PRINTED_KEY = fromHex(
  '3059301306072a8648ce3d020106082a8648ce3d030107034200048496811aae0baaabd26157189eecda26beaa8bf11b6f3fe6e2b5659c85db' +
    'c0ad3b1f2a4b6c098131c0a36dacd1d78bd381dcdfb09c052db33991db7338b4a896',
);
const SHA_256_64 = -15;

/** The certificates beside each real signature exchanged, which no signature covers. */
const otherChain = (change: (ders: readonly Uint8Array[], lab: Lab) => readonly Uint8Array[]): Attack =>
  dismantled(({ blocks }, lab) => ({
    blocks: blocks.map((bytes) => {
      const block = openBlock(bytes);
      const carried = block.open.get(LABEL.x5chain);
      const ders = (Array.isArray(carried) ? carried : [carried]) as Uint8Array[];
      const open = new Map(block.open);
      const changed = change(ders, lab);
      if (changed.length === 0) open.delete(LABEL.x5chain);
      else open.set(LABEL.x5chain, x5chain(changed));
      return closeBlock({ ...block, open });
    }),
  }));

/** The real manifest, sealed by somebody with an authority of their own. */
const byStranger = (carried: (stranger: Throwaway, ders: Uint8Array[]) => Uint8Array[]): Attack =>
  dismantled(async ({ manifest }, lab) => {
    const { likeness } = firstHand(lab);
    const stranger = await strangerLike(lab);
    const hand = await stranger.hand(likeness);
    const digest = sealedDigest(manifest);
    const ders = carried(
      stranger,
      hand.certificates.map(({ der }) => der),
    );
    const { securityVersion } = lab.standIn.sealers;
    const block = await signedBlock(hand, digest, { certificates: ders, securityVersion });
    return { digest, blocks: lab.standIn.sealers.hands.map(() => block) };
  });

export const SIGNER_ROWS: readonly Forgery[] = [
  {
    name: 'The certificates stripped off',
    threat: 'IMG.NON_AUTH',
    built: 'the certificates beside each signature are taken out',
    where: ['asymmetric'],
    refusal: 'signer-missing',
    attack: otherChain(() => []),
  },
  {
    name: 'Garbage for a certificate',
    threat: 'NET.ONPATH',
    built: 'the signature names a certificate that is no certificate',
    where: ['asymmetric'],
    refusal: 'signer-chain-malformed',
    attack: withHand(async (hand) => ({ ...hand, changes: { certificates: [fromUtf8('certificate')] } })),
  },
  {
    name: 'A dozen certificates',
    threat: 'NET.ONPATH',
    built: 'the intermediate certificate is sent along a dozen times, to keep the unit busy',
    where: ['asymmetric'],
    refusal: 'signer-chain-malformed',
    attack: otherChain(([own, ...above]) => [own!, ...new Array<Uint8Array>(12).fill(above[0] ?? own!)]),
  },
  {
    name: 'A signature that names no certificate',
    threat: 'IMG.NON_AUTH',
    built:
      'the thumbprint is left out of the protected header, so that any certificate could be put beside it',
    where: ['asymmetric'],
    refusal: 'signer-not-bound',
    attack: sealedWith(({ standIn }) => sealing(standIn.sealers, { binding: [] })),
  },
  {
    name: 'The signer’s certificate exchanged',
    threat: 'IMG.NON_AUTH',
    built: 'another certificate stands where that of the signer stood',
    where: ['asymmetric'],
    refusal: 'signer-thumbprint-wrong',
    attack: otherChain(([, ...above], lab) => [
      firstHand(lab).certificates[0]!.der,
      ...(above.length > 0 ? above : [firstHand(lab).certificates[1]!.der]),
    ]),
  },
  {
    name: 'A thumbprint by a shorter hash',
    threat: 'IMG.NON_AUTH',
    built: 'the certificate is named by SHA-256 cut to 64 bits, which others can be made to match',
    where: ['asymmetric'],
    refusal: 'signer-thumbprint-wrong',
    attack: withHand(async (hand) => ({
      ...hand,
      changes: { binding: [[LABEL.x5t, [SHA_256_64, sha256(hand.certificates[0]!.der).slice(0, 8)]]] },
    })),
  },
  {
    name: 'Another maker with the same names',
    threat: 'IMG.NON_AUTH',
    built: 'sealed by a signer under a foreign root whose certificates bear the names of ours',
    where: ['asymmetric'],
    refusal: 'signer-not-anchored',
    attack: byStranger((_, ders) => ders),
  },
  {
    name: 'A foreign root that comes along',
    threat: 'IMG.NON_AUTH',
    built: 'as before, with the self-signed foreign root at the end of the chain',
    where: ['asymmetric'],
    refusal: 'signer-not-anchored',
    attack: byStranger((stranger, ders) => [...ders, stranger.line().root.certificate.der]),
  },
  {
    name: 'The certificate above the signer left out',
    threat: 'NET.ONPATH',
    built: 'only the signer’s own certificate comes with the signature',
    where: ['asymmetric'],
    refusal: 'signer-not-anchored',
    attack: withHand(async (hand) => ({ ...hand, changes: { certificates: [hand.certificates[0]!.der] } })),
  },
  {
    name: 'A signer of another class',
    threat: 'UPD.UNAPPROVED',
    built: 'a genuine signer under the same root, certified for another model of the same vendor',
    where: ['asymmetric'],
    refusal: 'signer-not-for-this-class',
    attack: certifiedWith(({ vendorId }) => ({
      scopes: [`urn:uuid:${formatUuid(classId(vendorId, 'another model'))}`],
    })),
  },
  {
    name: 'A trial signer',
    threat: 'KEY.EXPOSURE',
    built: 'the certificate of the signer bears the mark of a trial',
    where: ['asymmetric', 'production'],
    refusal: 'signer-is-for-trial',
    attack: certifiedWith(() => ({ trial: true })),
  },
  {
    name: 'A key that is printed in a standard',
    threat: 'KEY.EXPOSURE',
    built: 'the example key of a standard was certified as a signer by mistake',
    where: ['asymmetric'],
    refusal: 'signer-key-published',
    attack: withHand(async (hand, lab) => {
      const { intermediate } = lab.standIn.authority.line(hand.likeness.anchor);
      const { subject, scopes, generation, role } = hand.likeness;
      const certificate = await issue(intermediate.signer, {
        profile: 'signer',
        subject,
        scopes,
        generation,
        ...(role === undefined ? {} : { role }),
        publicKey: PRINTED_KEY,
        issuer: issuerOf(intermediate.certificate),
        trial: false,
        ...validAround(lab.subject.now),
      });
      return { ...hand, certificates: [certificate, intermediate.certificate] };
    }),
  },
  {
    name: 'A revoked signer',
    threat: 'KEY.EXPOSURE',
    built: 'the payload as it is, to a unit whose deny list has the key of every signer',
    where: ['asymmetric'],
    refusal: 'signer-denied',
    attack: later((_, lab) => ({
      state: () => ({
        deniedSigners: signersOf(lab).map(({ certificate }) => fingerprint(certificate.spki)),
      }),
    })),
  },
  {
    name: 'A signer under a revoked authority',
    threat: 'KEY.EXPOSURE',
    built: 'the deny list has the key of the authority that certified the signer',
    where: ['asymmetric'],
    refusal: 'signer-denied',
    attack: sealedWith(
      ({ standIn }) => sealing(standIn.sealers),
      (lab) => ({
        state: () => ({
          deniedSigners: lab.standIn.sealers.hands.map(({ certificates }) =>
            fingerprint(certificates[1]!.spki),
          ),
        }),
      }),
    ),
  },
  {
    name: 'A signer of a generation that was withdrawn',
    threat: 'KEY.EXPOSURE',
    built: 'the payload as it is, to a unit whose minimum generation was raised above every signer',
    where: ['asymmetric'],
    refusal: 'signer-generation-too-low',
    attack: later((_, lab) => ({
      state: ({ floors }) => ({
        floors: {
          ...floors,
          signerGeneration:
            1 + Math.max(...signersOf(lab).map(({ certificate }) => certificate.generation ?? 0)),
        },
      }),
    })),
  },
  {
    name: 'A signer that ran out yesterday',
    threat: 'KEY.EXPOSURE',
    built: 'the certificate of the signer ended one day before the clock of the unit',
    where: ['asymmetric', 'clock'],
    refusal: 'signer-expired',
    attack: certifiedWith(({ subject }) => ({ notAfter: new Date(subject.now.getTime() - DAY) })),
  },
  {
    name: 'A signer that begins tomorrow',
    threat: 'KEY.EXPOSURE',
    built: 'the certificate of the signer begins one day after the clock of the unit',
    where: ['asymmetric', 'clock'],
    refusal: 'signer-not-yet-valid',
    attack: certifiedWith(({ subject }) => ({ notBefore: new Date(subject.now.getTime() + DAY) })),
  },
  {
    name: 'An authority that ran out',
    threat: 'KEY.EXPOSURE',
    built: 'the certificate above the signer ended, that of the signer did not',
    where: ['asymmetric', 'clock'],
    refusal: 'signer-expired',
    attack: withHand(async (hand, lab) => {
      const { root, intermediate } = lab.standIn.authority.line(hand.likeness.anchor);
      const renewed = await issue(root.signer, {
        profile: 'intermediate',
        subject: intermediate.certificate.subject,
        publicKey: intermediate.signer.publicKey,
        issuer: issuerOf(root.certificate),
        trial: false,
        ...validAround(lab.subject.now),
        notAfter: new Date(lab.subject.now.getTime() - DAY),
      });
      return { ...hand, certificates: [hand.certificates[0]!, renewed] };
    }),
  },
];

function signersOf({ genuine }: Lab) {
  return (genuine.verdict.facts.authentications ?? []).flatMap(({ signer }) => signer ?? []);
}

/** Rows in which the signers are not what they should be: where a unit asks for several, none of them is. */
import type { CertificateDescription } from '../../../x509/index.ts';
import { type BlockChanges, signedBlock } from '../blocks.ts';
import { type Attack, sealedWith } from '../forgery.ts';
import type { Lab } from '../lab.ts';
import {
  generation,
  keyUsage,
  noAuthority,
  type OddCertificate,
  oddCertificate,
  purpose,
  scope,
  signsAs,
} from '../odd-certificates.ts';
import { type Hand, Throwaway } from '../throwaway.ts';

export const DAY = 24 * 3600 * 1000;

/** A hand, and what is odd about its block. */
export type OddHand = Hand & { readonly changes?: BlockChanges };

/** The first of those who seal for the stand-in. */
export function firstHand({ standIn }: Lab): Hand {
  return standIn.sealers.hands[0]!;
}

/** The manifest as it is, sealed by hands that are odd in place of the sound ones. */
export function withHand(odd: (hand: Hand, lab: Lab) => OddHand | Promise<OddHand>): Attack {
  return sealedWith(async (lab) => {
    const { hands, securityVersion } = lab.standIn.sealers;
    const strange = await Promise.all(hands.map((hand) => odd(hand, lab)));
    return (digest) =>
      Promise.all(strange.map((hand) => signedBlock(hand, digest, { securityVersion, ...hand.changes })));
  });
}

/** What the certificate of a signer of code says beside its scope. */
export const CODE_SIGNING = [noAuthority(), keyUsage('digitalSignature'), purpose('code signing')];

/** A hand whose certificate is odd, certified by the intermediate. */
export async function oddlyCertified(hand: Hand, lab: Lab, odd: Partial<OddCertificate>): Promise<Hand> {
  const { anchor, subject, scopes, role, generation: number } = hand.likeness;
  const { intermediate } = lab.standIn.authority.line(anchor);
  const certificate = await oddCertificate({
    issuer: intermediate,
    subject,
    publicKey: hand.signer.publicKey,
    ...odd,
    extensions: [
      ...(odd.extensions ?? CODE_SIGNING),
      scope(scopes),
      generation(number),
      ...(role === undefined ? [] : [signsAs(role)]),
    ],
  });
  return { ...hand, certificates: [certificate, intermediate.certificate] };
}

/** The manifest sealed by hands of which a new key is certified like the sound one, with changes to its certificate. */
export function certifiedWith(changes: (lab: Lab) => Partial<CertificateDescription>): Attack {
  return withHand(({ likeness }, lab) => lab.standIn.authority.hand(likeness, changes(lab)));
}

/** Somebody else’s authority, whose roots bear the names of ours. */
export async function strangerLike(lab: Lab): Promise<Throwaway> {
  const roots = [...lab.standIn.authority.lines].map(([label, { root }]) => ({
    label,
    name: root.certificate.subject,
  }));
  return Throwaway.make(roots, lab.subject.now, lab.record.trial);
}

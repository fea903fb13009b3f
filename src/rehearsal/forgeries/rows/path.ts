/** Step 2: chains in which one rule of RFC 5280 section 6.1 is broken, and no other. */
import { randomBytes, x25519Spki } from '../../../crypto/index.ts';
import { type Certificate, issuerOf, writeName } from '../../../x509/index.ts';
import type { Forgery } from '../forgery.ts';
import type { Lab } from '../lab.ts';
import {
  authority,
  ECDSA_SHA1,
  keyUsage,
  noAuthority,
  type OddCertificate,
  oddCertificate,
  onlyNames,
  policyDemanded,
  purpose,
  strangeExtension,
} from '../odd-certificates.ts';
import { type Certified, type Hand, issue, newSigner, validAround } from '../throwaway.ts';
import { CODE_SIGNING, oddlyCertified, withHand } from './hands.ts';

const AUTHORITY = [authority(), keyUsage('keyCertSign')];

/** A signer's certificate that is odd, certified by the intermediate. */
const withSigner = (odd: Partial<OddCertificate>) => withHand((hand, lab) => oddlyCertified(hand, lab, odd));

/** A chain whose authority is odd, certified by the root. */
const under = (odd: Partial<OddCertificate>) =>
  withHand(async (hand, lab) => {
    const above = await oddAuthority(lab, hand, odd);
    return { ...hand, certificates: [await signerUnder(above, hand, lab), above.certificate] };
  });

async function oddAuthority(lab: Lab, hand: Hand, odd: Partial<OddCertificate>): Promise<Certified> {
  const { root } = lab.standIn.authority.line(hand.likeness.anchor);
  const signer = newSigner();
  const certificate = await oddCertificate({
    issuer: root,
    subject: writeName([['CN', 'an odd authority']]),
    publicKey: signer.publicKey,
    extensions: AUTHORITY,
    ...odd,
  });
  return { signer, certificate };
}

function signerUnder(above: Certified, { signer, likeness }: Hand, lab: Lab): Promise<Certificate> {
  const { subject, scopes, generation: number, role } = likeness;
  return issue(above.signer, {
    profile: 'signer',
    subject,
    scopes,
    generation: number,
    ...(role === undefined ? {} : { role }),
    publicKey: signer.publicKey,
    issuer: { name: above.certificate.subject, spki: above.signer.publicKey },
    trial: false,
    ...validAround(lab.subject.now),
  });
}

const ASYMMETRIC = ['asymmetric'] as const;

export const PATH_ROWS: readonly Forgery[] = [
  {
    name: 'An authority that is none',
    threat: 'UPD.UNAPPROVED',
    built: 'the certificate above the signer lacks the CA bit',
    where: ASYMMETRIC,
    refusal: 'signer-path-broken',
    attack: under({ extensions: [noAuthority(), keyUsage('keyCertSign')] }),
  },
  {
    name: 'An authority that may not certify',
    threat: 'UPD.UNAPPROVED',
    built: 'the key usage of the certificate above the signer lacks keyCertSign',
    where: ASYMMETRIC,
    refusal: 'signer-path-broken',
    attack: under({ extensions: [authority(), keyUsage('digitalSignature')] }),
  },
  {
    name: 'One authority too many',
    threat: 'UPD.UNAPPROVED',
    built: 'the intermediate, whose path length is 0, certified a further authority',
    where: ASYMMETRIC,
    refusal: 'signer-path-broken',
    attack: withHand(async (hand, lab) => {
      const { intermediate } = lab.standIn.authority.line(hand.likeness.anchor);
      const signer = newSigner();
      const certificate = await oddCertificate({
        issuer: intermediate,
        subject: writeName([['CN', 'a further authority']]),
        publicKey: signer.publicKey,
        extensions: AUTHORITY,
      });
      const further = { signer, certificate };
      const own = await signerUnder(further, hand, lab);
      return { ...hand, certificates: [own, certificate, intermediate.certificate] };
    }),
  },
  {
    name: 'An authority for other names',
    threat: 'UPD.UNAPPROVED',
    built: 'the certificate above the signer permits the names of another organisation only',
    where: ASYMMETRIC,
    refusal: 'signer-path-broken',
    attack: under({ extensions: [...AUTHORITY, onlyNames('another organisation')] }),
  },
  {
    name: 'An authority that demands a policy',
    threat: 'UPD.UNAPPROVED',
    built: 'the certificate above the signer demands a certificate policy, and the signer’s names none',
    where: ASYMMETRIC,
    refusal: 'signer-path-broken',
    attack: under({ extensions: [...AUTHORITY, policyDemanded()] }),
  },
  {
    name: 'A namesake of the authority',
    threat: 'IMG.NON_AUTH',
    built: 'an authority of the same name under the same root, whose key did not certify the signer',
    where: ASYMMETRIC,
    refusal: 'signer-path-broken',
    attack: withHand(async (hand, lab) => {
      const { root, intermediate } = lab.standIn.authority.line(hand.likeness.anchor);
      const namesake = await issue(root.signer, {
        profile: 'intermediate',
        subject: intermediate.certificate.subject,
        publicKey: newSigner().publicKey,
        issuer: issuerOf(root.certificate),
        trial: false,
        ...validAround(lab.subject.now),
      });
      return { ...hand, certificates: [hand.certificates[0]!, namesake] };
    }),
  },
  {
    name: 'A chain of strangers',
    threat: 'NET.ONPATH',
    built: 'the certificate above the signer is that of somebody who never certified it',
    where: ASYMMETRIC,
    refusal: 'signer-path-broken',
    attack: withHand((hand) => ({
      ...hand,
      changes: { certificates: [hand.certificates[0]!.der, hand.certificates[0]!.der] },
    })),
  },
  {
    name: 'An authority whose certificate was altered',
    threat: 'IMG.NON_AUTH',
    built: 'the certificate above the signer names our root as its issuer, and another key signed it',
    where: ASYMMETRIC,
    refusal: 'signer-not-anchored',
    attack: under({ signedBy: newSigner() }),
  },
  {
    name: 'A certificate that asks to be understood',
    threat: 'UPD.UNAPPROVED',
    built: 'the certificate of the signer has a critical extension that nobody knows',
    where: ASYMMETRIC,
    refusal: 'signer-certificate-unsupported',
    attack: withSigner({ extensions: [...CODE_SIGNING, strangeExtension()] }),
  },
  {
    name: 'A certificate by a weak signature',
    threat: 'IMG.NON_AUTH',
    built: 'the certificate above the signer says that it was signed over SHA-1',
    where: ASYMMETRIC,
    refusal: 'signer-certificate-unsupported',
    attack: under({ algorithm: ECDSA_SHA1 }),
  },
  {
    name: 'An authority that seals itself',
    threat: 'UPD.UNAPPROVED',
    built: 'the intermediate authority signs the release with its own key',
    where: ASYMMETRIC,
    refusal: 'signer-purpose-wrong',
    attack: withHand((hand, lab) => {
      const { intermediate } = lab.standIn.authority.line(hand.likeness.anchor);
      return { ...hand, signer: intermediate.signer, certificates: [intermediate.certificate] };
    }),
  },
  {
    name: 'A certificate of a web server',
    threat: 'UPD.UNAPPROVED',
    built: 'the certificate of the signer is for servers, not for code',
    where: ASYMMETRIC,
    refusal: 'signer-purpose-wrong',
    attack: withSigner({ extensions: [noAuthority(), keyUsage('digitalSignature'), purpose('servers')] }),
  },
  {
    name: 'A key that cannot sign',
    threat: 'IMG.NON_AUTH',
    built: 'the certificate of the signer holds a key for key agreement',
    where: ASYMMETRIC,
    refusal: 'signer-chain-malformed',
    attack: withSigner({ publicKey: x25519Spki(randomBytes(32)) }),
  },
  {
    name: 'A certificate that is not for signatures',
    threat: 'UPD.UNAPPROVED',
    built: 'the key usage of the signer’s certificate lacks digitalSignature',
    where: ASYMMETRIC,
    refusal: 'signer-purpose-wrong',
    attack: withSigner({ extensions: [noAuthority(), keyUsage('cRLSign'), purpose('code signing')] }),
  },
];

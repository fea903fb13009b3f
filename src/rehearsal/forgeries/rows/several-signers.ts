/** Steps 2 and 3 where units ask for several signatures: some missing, doubled, or by the wrong hands. */
import { fingerprint, issuerOf } from '../../../x509/index.ts';
import { signedBlock } from '../blocks.ts';
import { type Attack, dismantled, type Forgery, later, sealedWith } from '../forgery.ts';
import type { Lab } from '../lab.ts';
import { oneBit } from '../parts.ts';
import { type Hand, issue, validAround } from '../throwaway.ts';

const MORE_THAN_LOOKED_AT = 9;
const POLICY = ['policy'] as const;

/** Blocks by these hands, each with a security version of its own where `versions` says so. */
const signedBy = (
  hands: (all: readonly Hand[], lab: Lab) => readonly Hand[] | Promise<readonly Hand[]>,
  version: (own: number, index: number) => number = (own) => own,
): Attack =>
  sealedWith(async (lab) => {
    const { hands: all, securityVersion } = lab.standIn.sealers;
    const chosen = await hands(all, lab);
    return (digest) =>
      Promise.all(
        chosen.map((hand, i) => signedBlock(hand, digest, { securityVersion: version(securityVersion, i) })),
      );
  });

/** The key of one signer under a certificate that says what another one is. */
async function posingAs(hand: Hand, other: Hand, lab: Lab): Promise<Hand> {
  const { intermediate } = lab.standIn.authority.line(other.likeness.anchor);
  const { subject, scopes, generation, role } = other.likeness;
  const certificate = await issue(intermediate.signer, {
    profile: 'signer',
    subject,
    scopes,
    generation,
    ...(role === undefined ? {} : { role }),
    publicKey: hand.signer.publicKey,
    issuer: issuerOf(intermediate.certificate),
    trial: false,
    ...validAround(lab.subject.now),
  });
  return {
    likeness: other.likeness,
    signer: hand.signer,
    certificates: [certificate, intermediate.certificate],
  };
}

export const SEVERAL_SIGNERS_ROWS: readonly Forgery[] = [
  {
    name: 'One signature stripped off',
    threat: 'UPD.UNAPPROVED',
    built: 'the last block that the unit asks for is taken out of the wrapper',
    where: POLICY,
    refusal: 'authentications-too-few',
    attack: dismantled(({ blocks }, { needed }) => ({ blocks: blocks.slice(0, needed - 1) })),
  },
  {
    name: 'One signature twice',
    threat: 'UPD.UNAPPROVED',
    built: 'the first block stands where the others stood',
    where: POLICY,
    refusal: 'authentications-too-few',
    attack: dismantled(({ blocks }) => ({ blocks: blocks.map(() => blocks[0]!) })),
  },
  {
    name: 'One key under two certificates',
    threat: 'UPD.UNAPPROVED',
    built: 'one key signs for everybody, each time with a certificate of that role',
    where: POLICY,
    refusal: 'authentications-too-few',
    attack: signedBy((hands, lab) => Promise.all(hands.map((hand) => posingAs(hands[0]!, hand, lab)))),
  },
  {
    name: 'Enough signers, and none of one role',
    threat: 'UPD.UNAPPROVED',
    built: 'as many keys sign as are asked for, all in the role of the first',
    where: ['policy', 'roles'],
    refusal: 'role-missing',
    attack: signedBy((hands, { standIn }) =>
      Promise.all(hands.map(() => standIn.authority.hand(hands[0]!.likeness))),
    ),
  },
  {
    name: 'One of the signatures forged',
    threat: 'UPD.UNAPPROVED',
    built: 'the last bit of the last block is changed; the others stay good',
    where: POLICY,
    refusal: 'signature-wrong',
    attack: dismantled(({ blocks }) => ({
      blocks: blocks.map((each, i) => (i === blocks.length - 1 ? oneBit(each, -1) : each)),
    })),
  },
  {
    name: 'One of the signers revoked',
    threat: 'KEY.EXPOSURE',
    built: 'the payload as it is, to a unit whose deny list has the key of the last signer',
    where: POLICY,
    refusal: 'signer-denied',
    attack: later((_, lab) => ({
      state: () => ({ deniedSigners: lab.publicKeys().slice(-1).map(fingerprint) }),
    })),
  },
  {
    name: 'Signers who do not agree on the floor',
    threat: 'IMG.EXPIRED',
    built: 'every signer states another security version',
    where: POLICY,
    refusal: 'security-versions-differ',
    attack: signedBy(
      (hands) => hands,
      (own, index) => own + index,
    ),
  },
  {
    name: 'More signatures than a unit looks at',
    threat: 'NET.ONPATH',
    built: 'the first block stands in the wrapper nine times, beside the others',
    where: POLICY,
    refusal: 'signatures-too-many',
    attack: dismantled(({ blocks }) => ({
      blocks: [...new Array<Uint8Array>(MORE_THAN_LOOKED_AT).fill(blocks[0]!), ...blocks.slice(1)],
    })),
  },
];

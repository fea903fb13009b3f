/** Step 3: seals that are missing, of the wrong kind, under a weaker or another algorithm, or by nobody. */
import { sourceOf } from '../../../bytes/index.ts';
import { CborMap, type CborValue, encode } from '../../../cbor/index.ts';
import { LABEL, macStructure, signStructure1 } from '../../../cose/index.ts';
import { randomBytes } from '../../../crypto/index.ts';
import { SECURITY_VERSION_LABEL } from '../../../unit/index.ts';
import { fingerprint } from '../../../x509/index.ts';
import {
  type BlockChanges,
  closeBlock,
  HMAC_256,
  macBlock,
  type OpenBlock,
  openBlock,
  protectedOf,
  signedBlock,
} from '../blocks.ts';
import { EVERYBODYS_KEY, everybody } from '../everybodys-key.ts';
import { type Attack, dismantled, type Forgery, sealedWith } from '../forgery.ts';
import type { Lab } from '../lab.ts';
import { oneBit, takeApart } from '../parts.ts';
import { sealing } from '../seals.ts';
import { newSigner } from '../throwaway.ts';
import { firstHand, oddlyCertified, withHand } from './hands.ts';

const ES256 = -7;
const EDDSA = -8;
const ESP256 = -9;
const ED25519 = -19;
/** HMAC 256/64 (RFC 9053 section 3.1): the same key, and a tag of eight bytes. */
const HMAC_256_64 = 4;
const UNKNOWN_HEADER = -70_999;
const ASYMMETRIC = ['asymmetric'] as const;
const SYMMETRIC = ['symmetric'] as const;

/** Every real block, taken apart, changed and put together. */
const blocks = (change: (block: OpenBlock) => OpenBlock): Attack =>
  dismantled((parts) => ({ blocks: parts.blocks.map((each) => closeBlock(change(openBlock(each)))) }));

const spoiled = (spoil: (value: Uint8Array) => Uint8Array): Attack =>
  blocks((block) => ({ ...block, made: spoil(block.made as Uint8Array) }));

const sealedAs = (changes: BlockChanges | ((lab: Lab) => BlockChanges)): Attack =>
  sealedWith((lab) => sealing(lab.standIn.sealers, typeof changes === 'function' ? changes(lab) : changes));

/** The seal of the release before this one under this manifest. */
const otherRelease: Attack = sealedWith(({ standIn, field }) => {
  const earlier = takeApart(sourceOf(field.offers.predecessor.envelope)).digest;
  return () => sealing(standIn.sealers)(earlier);
});

/** The protected header of every real block with one more parameter, or another one. */
const protectedAs = (label: number, value: CborValue): Attack =>
  blocks((block) => ({
    ...block,
    headers: encode(new CborMap(protectedOf(block).set(label, value))),
  }));

/** What the real signatures cover, MACed with the public key of their signer as if it were a secret. */
const publicKeyAsSecret: Attack = dismantled(({ digest }, lab) => ({
  blocks: lab.publicKeys().map((spki) => macBlock({ id: fromFingerprint(spki), key: spki }, digest)),
}));

function fromFingerprint(spki: Uint8Array): Uint8Array {
  return Buffer.from(fingerprint(spki), 'hex');
}

/** The signature is made over the structure of COSE_Sign, whose context is another (RFC 9052 section 4.4). */
function otherContext(headers: Uint8Array, digest: Uint8Array): Uint8Array {
  return encode(['Signature', headers, new Uint8Array(), new Uint8Array(), digest]);
}

function otherAlgorithm(lab: Lab): number {
  return firstHand(lab).signer.algorithm.id === ED25519 ? ESP256 : ED25519;
}

/** The older number for the same kind of key (RFC 9864 section 2). */
function legacyAlgorithm(lab: Lab): number {
  return firstHand(lab).signer.algorithm.id === ED25519 ? EDDSA : ES256;
}

export const AUTHENTICATION_ROWS: readonly Forgery[] = [
  {
    name: 'Every signature stripped off',
    threat: 'IMG.NON_AUTH',
    built: 'the wrapper holds the digest and no block',
    refusal: 'authentication-missing',
    attack: dismantled(() => ({ blocks: [] })),
  },
  {
    name: 'A block without its tag',
    threat: 'IMG.NON_AUTH',
    built: 'the first block loses the tag that says whether it is a signature or a MAC',
    refusal: 'authentication-block-malformed',
    attack: dismantled((parts) => ({ blocks: parts.blocks.map((each) => each.subarray(1)) })),
  },
  {
    name: 'A block that brings its own payload',
    threat: 'MFST.MODIFICATION',
    built: 'the block carries a digest in place of the one beside it',
    refusal: 'authentication-block-malformed',
    attack: dismantled((parts) => ({
      blocks: parts.blocks.map((each) => closeBlock(openBlock(each), parts.digest)),
    })),
  },
  {
    name: 'The public key used as a MAC key',
    threat: 'IMG.NON_AUTH',
    built: 'a MAC takes the place of each signature, made with the bytes of the signer’s public key',
    where: ASYMMETRIC,
    refusal: 'scheme-wrong',
    attack: publicKeyAsSecret,
  },
  {
    name: 'A signature for units that take MACs',
    threat: 'IMG.NON_AUTH',
    built: 'a signature by a key of somebody’s own takes the place of the MAC',
    where: SYMMETRIC,
    refusal: 'scheme-wrong',
    attack: dismantled(async ({ digest }) => ({
      blocks: [
        await signedBlock({ signer: newSigner(), certificates: [], likeness: undefined as never }, digest, {
          certificates: [],
          binding: [],
          open: [],
        }),
      ],
    })),
  },
  {
    name: 'An algorithm that nothing protects',
    threat: 'IMG.NON_AUTH',
    built: 'the algorithm stands in the unprotected header, where it can be exchanged',
    refusal: 'algorithm-not-protected',
    attack: blocks((block) => {
      const rest = protectedOf(block);
      const alg = rest.get(LABEL.alg)!;
      rest.delete(LABEL.alg);
      const headers = rest.size === 0 ? new Uint8Array() : encode(new CborMap(rest));
      return { ...block, headers, open: new Map(block.open).set(LABEL.alg, alg) };
    }),
  },
  {
    name: 'The older name of the algorithm',
    threat: 'IMG.NON_AUTH',
    built: 'the block says ES256 or EdDSA, which leave the curve open, in place of ESP256 or Ed25519',
    where: ASYMMETRIC,
    refusal: 'algorithm-not-allowed',
    attack: sealedAs((lab) => ({ alg: legacyAlgorithm(lab) })),
  },
  {
    name: 'Another algorithm than that of the class',
    threat: 'IMG.NON_AUTH',
    built:
      'a genuine signer, signature and certificate, under an algorithm that units of this class do not use',
    where: ['asymmetric', 'single signature'],
    refusal: 'algorithm-not-allowed',
    attack: withHand((hand, lab) =>
      lab.standIn.authority.hand({ ...hand.likeness, algorithm: otherAlgorithm(lab) }),
    ),
  },
  {
    name: 'A signature under a MAC’s number',
    threat: 'IMG.NON_AUTH',
    built: 'the signature says that its algorithm is HMAC 256/256',
    where: ASYMMETRIC,
    refusal: 'algorithm-not-allowed',
    attack: sealedAs({ alg: HMAC_256 }),
  },
  {
    name: 'A MAC cut to eight bytes',
    threat: 'IMG.NON_AUTH',
    built: 'the MAC says HMAC 256/64 and brings the first eight bytes of its tag',
    where: SYMMETRIC,
    refusal: 'algorithm-not-allowed',
    attack: sealedAs({ alg: HMAC_256_64, spoil: (tag) => tag.slice(0, 8) }),
  },
  {
    name: 'A header that must be understood',
    threat: 'MFST.OVERRIDE',
    built: 'the block marks a header as critical that nobody defined',
    refusal: 'header-critical-unknown',
    attack: sealedAs({
      more: [
        [LABEL.crit, [UNKNOWN_HEADER]],
        [UNKNOWN_HEADER, 1],
      ],
    }),
  },
  {
    name: 'A key of another kind',
    threat: 'IMG.NON_AUTH',
    built: 'the block names the algorithm of the class, and the certificate has a key of another kind',
    where: ['asymmetric', 'single signature'],
    refusal: 'key-type-wrong',
    attack: withHand(async (hand, lab) => ({
      ...(await lab.standIn.authority.hand({ ...hand.likeness, algorithm: otherAlgorithm(lab) })),
      changes: { alg: hand.signer.algorithm.id },
    })),
  },
  {
    name: 'One bit of the signature',
    threat: 'NET.ONPATH',
    built: 'the last bit of each signature is changed',
    where: ASYMMETRIC,
    refusal: 'signature-wrong',
    attack: spoiled((signature) => oneBit(signature, -1)),
  },
  {
    name: 'A signature of zeros',
    threat: 'IMG.NON_AUTH',
    built: 'every byte of each signature is zero, which some verifiers take',
    where: ASYMMETRIC,
    refusal: 'signature-wrong',
    attack: spoiled((signature) => new Uint8Array(signature.length)),
  },
  {
    name: 'A signature cut short',
    threat: 'NET.ONPATH',
    built: 'the last byte of each signature is left out',
    where: ASYMMETRIC,
    refusal: 'signature-wrong',
    attack: spoiled((signature) => signature.slice(0, -1)),
  },
  {
    name: 'A key that never had the certificate',
    threat: 'IMG.NON_AUTH',
    built: 'the signer’s certificate comes with a signature by another key of the same kind',
    where: ASYMMETRIC,
    refusal: 'signature-wrong',
    attack: withHand((hand) => ({ ...hand, signer: newSigner(hand.signer.algorithm.id) })),
  },
  {
    name: 'A key under which everybody can sign',
    threat: 'IMG.NON_AUTH',
    built:
      'the signer’s certificate, from our authority, holds an Ed25519 point of small order; the signature is one that anybody makes without a secret',
    where: ['asymmetric', 'ed25519 signers'],
    refusal: 'signature-wrong',
    attack: withHand(async (hand, lab) => ({
      ...(await oddlyCertified(hand, lab, { publicKey: EVERYBODYS_KEY })),
      signer: everybody(hand),
    })),
  },
  {
    name: 'The signature of another release',
    threat: 'MFST.MODIFICATION',
    built: 'the blocks of the release before this one stand beside this manifest',
    where: ASYMMETRIC,
    refusal: 'signature-wrong',
    attack: otherRelease,
  },
  {
    name: 'A signature made for another kind of message',
    threat: 'IMG.NON_AUTH',
    built: 'the key signed the structure of a COSE_Sign, and the block is a COSE_Sign1',
    where: ASYMMETRIC,
    refusal: 'signature-wrong',
    attack: sealedAs({ over: otherContext }),
  },
  {
    name: 'A signature over something beside the digest',
    threat: 'IMG.NON_AUTH',
    built: 'the key signed the digest together with external data that no unit knows of',
    where: ASYMMETRIC,
    refusal: 'signature-wrong',
    attack: sealedAs({ over: (headers, digest) => signStructure1(headers, digest, Uint8Array.of(1)) }),
  },
  {
    name: 'A higher security version written into the header',
    threat: 'IMG.EXPIRED',
    built: 'the security version in the protected header is raised, and the signature stays',
    where: ASYMMETRIC,
    refusal: 'signature-wrong',
    attack: protectedAs(SECURITY_VERSION_LABEL, 1000),
  },
  {
    name: 'A higher security version beside a MAC',
    threat: 'IMG.EXPIRED',
    built: 'the security version in the protected header is raised, and the MAC stays',
    where: SYMMETRIC,
    refusal: 'mac-wrong',
    attack: protectedAs(SECURITY_VERSION_LABEL, 1000),
  },
  {
    name: 'The key of another class',
    threat: 'UPD.UNAPPROVED',
    built: 'a MAC under a key whose id the unit does not hold',
    where: SYMMETRIC,
    refusal: 'mac-key-unknown',
    attack: dismantled(({ digest }) => ({
      blocks: [macBlock({ id: randomBytes(8), key: randomBytes(32) }, digest)],
    })),
  },
  {
    name: 'The key of another cohort',
    threat: 'KEY.EXPOSURE',
    built: 'a MAC under the key of another cohort, named by that key’s id',
    where: ['symmetric', 'cohort'],
    refusal: 'mac-key-unknown',
    attack: dismantled(({ digest }) => ({
      blocks: [macBlock({ id: randomBytes(8), key: randomBytes(32) }, digest)],
    })),
  },
  {
    name: 'A guessed key under the right name',
    threat: 'IMG.NON_AUTH',
    built: 'a MAC under a key of somebody’s own that bears the id of the unit’s key',
    where: SYMMETRIC,
    refusal: 'mac-wrong',
    attack: dismantled(({ digest }, { record }) => ({
      blocks: record.mac_keys.map(({ id }) =>
        macBlock({ id: Buffer.from(id, 'hex'), key: randomBytes(32) }, digest),
      ),
    })),
  },
  {
    name: 'A MAC that names no key',
    threat: 'IMG.NON_AUTH',
    built: 'a MAC under a key of somebody’s own, without any id, so that the unit tries all its keys',
    where: SYMMETRIC,
    refusal: 'mac-wrong',
    attack: dismantled(({ digest }) => ({
      blocks: [macBlock({ id: new Uint8Array(), key: randomBytes(32) }, digest, { open: [] })],
    })),
  },
  {
    name: 'One bit of the MAC',
    threat: 'NET.ONPATH',
    built: 'the last bit of each tag is changed',
    where: SYMMETRIC,
    refusal: 'mac-wrong',
    attack: spoiled((tag) => oneBit(tag, -1)),
  },
  {
    name: 'A MAC of zeros',
    threat: 'IMG.NON_AUTH',
    built: 'every byte of each tag is zero',
    where: SYMMETRIC,
    refusal: 'mac-wrong',
    attack: spoiled((tag) => new Uint8Array(tag.length)),
  },
  {
    name: 'A short tag under the full name',
    threat: 'IMG.NON_AUTH',
    built: 'the tag is cut to its first eight bytes, and the algorithm stays',
    where: SYMMETRIC,
    refusal: 'mac-wrong',
    attack: spoiled((tag) => tag.slice(0, 8)),
  },
  {
    name: 'The MAC of another release',
    threat: 'MFST.MODIFICATION',
    built: 'the blocks of the release before this one stand beside this manifest',
    where: SYMMETRIC,
    refusal: 'mac-wrong',
    attack: otherRelease,
  },
  {
    name: 'A MAC made for another kind of message',
    threat: 'IMG.NON_AUTH',
    built: 'the key authenticated the structure of a COSE_Mac, and the block is a COSE_Mac0',
    where: SYMMETRIC,
    refusal: 'mac-wrong',
    attack: sealedAs({ over: macStructure }),
  },
];

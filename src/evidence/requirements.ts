import type { DeviceClass } from '../workspace/index.ts';
import type { Cover, Evidence } from './schema.ts';

/** What is known of a release when its requirements are gone through. */
export interface Known
  extends Pick<
    Evidence,
    | 'release'
    | 'images'
    | 'seals'
    | 'approval'
    | 'rehearsals'
    | 'acceptance'
    | 'ledger'
    | 'plan'
    | 'production'
    | 'support_until'
    | 'trial'
  > {
  readonly deviceClass: DeviceClass;
}

/** How far something is shown, and by what. */
export type Answer = readonly [cover: Cover, evidence: string];

interface Requirement {
  readonly section: string;
  readonly name: string;
  readonly asks: string;
  answer(known: Known): Answer;
}

/** Says how far forgeries of these threats fell in a rehearsal, or that none was made. */
function rehearsed(known: Known, threats: readonly string[], otherwise: string): Answer {
  const rows = known.rehearsals.flatMap((each) => each.threats.filter(({ name }) => threats.includes(name)));
  const sum = (of: 'passed' | 'failed' | 'exposed') => rows.reduce((all, row) => all + row[of], 0);
  const [passed, failed, exposed] = [sum('passed'), sum('failed'), sum('exposed')];
  if (passed + failed === 0)
    return ['in part', `${otherwise}; no rehearsal of this release is among the evidence`];
  if (failed > 0)
    return ['not shown', `${otherwise}; but ${failed} forgeries were not refused as they must be`];
  const aside = exposed === 0 ? '' : `, ${exposed} do not apply here`;
  return ['shown', `${otherwise}; ${passed} forgeries were refused at their step${aside}`];
}

function chainsHold({ seals }: Known): boolean {
  return seals.length > 0 && seals.every(({ chain_holds }) => chain_holds !== false);
}

/** The requirements of RFC 9124 section 4.3, in order, each with what stands for it in the evidence of a release. */
export const REQUIREMENTS: readonly Requirement[] = [
  {
    section: '4.3.1',
    name: 'REQ.SEC.SEQUENCE',
    asks: 'a number that only rises, so that old firmware is not taken',
    answer: (known) =>
      rehearsed(
        known,
        ['IMG.EXPIRED'],
        `sequence number ${known.release.sequence_number}, taken once; security version ${known.release.security_version}`,
      ),
  },
  {
    section: '4.3.2',
    name: 'REQ.SEC.COMPATIBLE',
    asks: 'firmware only for units that it suits',
    answer: (known) =>
      rehearsed(
        known,
        ['IMG.INCOMPATIBLE'],
        `vendor ${known.release.vendor_id}, class ${known.release.class_id}`,
      ),
  },
  {
    section: '4.3.3',
    name: 'REQ.SEC.EXP',
    asks: 'a manifest that is no longer current is not taken',
    answer: () => [
      'not shown',
      'releases carry no end date: without a trusted clock none can be judged, and the last release of a line should carry none',
    ],
  },
  {
    section: '4.3.4',
    name: 'REQ.SEC.AUTHENTIC',
    asks: 'signature or MAC over the manifest, digest over the image',
    answer: (known) =>
      chainsHold(known)
        ? rehearsed(
            known,
            ['IMG.NON_AUTH', 'NET.ONPATH'],
            `sealed by ${known.seals.map(({ name }) => name).join(', ')}`,
          )
        : ['not shown', 'a certificate on file is not the recorded one, or leads to no root here'],
  },
  {
    section: '4.3.5',
    name: 'REQ.SEC.AUTH.IMG_TYPE',
    asks: 'the type of a payload is signed, never guessed',
    answer: (known) => rehearsed(known, ['IMG.FORMAT'], 'one flat image by the signed manifest'),
  },
  {
    section: '4.3.6',
    name: 'REQ.SEC.AUTH.IMG_LOC',
    asks: 'where an image goes is signed, and checked against the signer’s rights',
    answer: (known) =>
      rehearsed(known, ['IMG.LOCATION'], 'component and slot by the signed manifest and the unit’s own map'),
  },
  {
    section: '4.3.7',
    name: 'REQ.SEC.AUTH.REMOTE_LOC',
    asks: 'where an image is fetched from is signed',
    answer: (known) =>
      rehearsed(
        known,
        ['NET.REDIRECT'],
        known.release.detached ? 'signed URI and digest' : 'the image lies in the envelope',
      ),
  },
  {
    section: '4.3.8',
    name: 'REQ.SEC.AUTH.EXEC',
    asks: 'verified again where it runs, before it runs',
    answer: (known) =>
      rehearsed(known, ['IMG.REPLACE'], 'verified at every start from the memory that will run'),
  },
  {
    section: '4.3.9',
    name: 'REQ.SEC.AUTH.PRECURSOR',
    asks: 'a difference is applied to its own base only',
    answer: (known) =>
      rehearsed(
        known,
        ['UPD.WRONG_PRECURSOR'],
        'the digest of a precursor is signed and compared first, where there is one',
      ),
  },
  {
    section: '4.3.10',
    name: 'REQ.SEC.AUTH.COMPATIBILITY',
    asks: 'compatibility is judged by signed data',
    answer: (known) => rehearsed(known, ['IMG.INCOMPATIBLE'], 'identifiers stand in the signed manifest'),
  },
  {
    section: '4.3.11',
    name: 'REQ.SEC.RIGHTS',
    asks: 'nobody exercises rights that were not given',
    answer: (known) =>
      rehearsed(known, ['UPD.UNAPPROVED'], 'signers are scoped to classes by their certificates'),
  },
  {
    section: '4.3.12',
    name: 'REQ.SEC.IMG.CONFIDENTIALITY',
    asks: 'images can be kept confidential',
    answer: ({ release }) =>
      release.encryption === null
        ? ['not shown', 'the image travels in clear: the class asks for no encryption']
        : ['shown', `encrypted with ${release.encryption}`],
  },
  {
    section: '4.3.13',
    name: 'REQ.SEC.ACCESS_CONTROL',
    asks: 'an access control list where several parties decide',
    answer: ({ deviceClass }) =>
      deviceClass.rights
        ? ['shown', `units hold ${deviceClass.rights.length} row(s) of rights`]
        : deviceClass.policy
          ? ['in part', `units ask for ${deviceClass.policy.text}; no rights are told apart`]
          : ['in part', 'one party decides; no rights are told apart'],
  },
  {
    section: '4.3.14',
    name: 'REQ.SEC.MFST.CONFIDENTIALITY',
    asks: 'manifests can be kept confidential',
    answer: ({ deviceClass: { confidentiality } }) =>
      confidentiality === 'message' || confidentiality === 'both'
        ? [
            'in part',
            'the class asks for encrypted messages; how this one was sent is not part of this evidence',
          ]
        : ['not shown', 'the manifest travels in clear: the class asks for no encryption of messages'],
  },
  {
    section: '4.3.15',
    name: 'REQ.SEC.IMG.COMPLETE_DIGEST',
    asks: 'the digest covers everything in the slot',
    answer: (known) =>
      rehearsed(known, ['IMG.EXTRA'], 'exact length and digest are signed; the rest of the slot is erased'),
  },
  {
    section: '4.3.16',
    name: 'REQ.SEC.REPORTING',
    asks: 'reports are protected like updates',
    answer: () => [
      'in part',
      'units sign reports (draft-ietf-suit-report); reports about this release are not part of this evidence',
    ],
  },
  {
    section: '4.3.17',
    name: 'REQ.SEC.KEY.PROTECTION',
    asks: 'keys that sign are protected',
    answer: ({ seals }) => {
      const inFiles = seals.filter(({ custody }) => custody === 'file').map(({ name }) => name);
      const told = seals.every(({ ceremony }) => ceremony !== null)
        ? 'every key has its ceremony record'
        : 'a key has no ceremony record';
      return inFiles.length > 0
        ? ['in part', `${told}; in encrypted files of a networked machine: ${inFiles.join(', ')}`]
        : ['shown', told];
    },
  },
  {
    section: '4.3.18',
    name: 'REQ.SEC.KEY.ROTATION',
    asks: 'keys that sign are delegates and can be replaced',
    answer: ({ release }) =>
      release.scheme === 'asymmetric'
        ? [
            'shown',
            'signers are certified by a root that signs nothing else; generation and deny list end them on units',
          ]
        : ['not shown', 'units hold the key that seals: it is replaced by provisioning them anew'],
  },
  {
    section: '4.3.19',
    name: 'REQ.SEC.MFST.CHECK',
    asks: 'a manifest is checked before deployment',
    answer: ({ rehearsals }) => {
      const [first] = rehearsals;
      if (!first) return ['not shown', 'no rehearsal of this release is among the evidence'];
      const all = rehearsals.every(({ outcome }) => outcome === 'passed');
      return [
        all ? 'shown' : 'not shown',
        `rehearsed on ${first.rehearsed}: ${rehearsals.map(({ outcome }) => outcome).join(', ')}`,
      ];
    },
  },
  {
    section: '4.3.20',
    name: 'REQ.SEC.MFST.TRUSTED',
    asks: 'built and signed in a protected place',
    answer: ({ approval }) => [
      'by the product',
      `build and signing machine are the maker’s to protect${approval ? '; another person approved the digest' : '; nobody else approved the digest'}`,
    ],
  },
  {
    section: '4.3.21',
    name: 'REQ.SEC.MFST.CONST',
    asks: 'a manifest does not change between check and use',
    answer: (known) =>
      rehearsed(known, ['MFST.TOCTOU'], 'copied before it is judged; the image is read back from flash'),
  },
];

/** The table for one release. */
export function requirementsOf(known: Known): Evidence['requirements'] {
  return REQUIREMENTS.map(({ section, name, asks, answer }) => {
    const [cover, evidence] = answer(known);
    return { section, name, asks, cover, evidence };
  });
}

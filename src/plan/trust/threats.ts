import { THREATS } from '../../rehearsal/index.ts';
import type { DeviceClass } from '../../workspace/index.ts';
import type { Holdings } from './holdings.ts';

/** How far a threat is met by what a class asks for. */
export type Cover = 'covered' | 'in part' | 'not covered' | 'by the product';

/** A threat of RFC 9124 section 4.2 and what stands against it in a class. */
export interface ThreatAnswer {
  readonly threat: string;
  readonly section: string;
  readonly about: string;
  /** Requirements of section 4.3 that answer it. */
  readonly requirements: readonly string[];
  readonly cover: Cover;
  readonly by: string;
}

interface Row {
  readonly requirements: readonly string[];
  answer(deviceClass: DeviceClass, holdings: Holdings): readonly [Cover, string];
}

const always =
  (by: string): Row['answer'] =>
  () => ['covered', by];

/** By threat: its requirements, and what answers it. */
const ANSWERS: Readonly<Record<(typeof THREATS)[number]['name'], Row>> = {
  'IMG.EXPIRED': {
    requirements: ['4.3.1'],
    answer: always(
      'sequence number above any on board, security floor; both rise only when an image is kept',
    ),
  },
  'IMG.EXPIRED.OFFLINE': {
    requirements: ['4.3.3'],
    answer: ({ clock }) =>
      clock
        ? [
            'in part',
            'units have a clock, and refuse signers out of their dates; a release itself carries no use-before',
          ]
        : [
            'not covered',
            'units have no trusted clock: an old genuine release above their own number is taken until a newer one arrives',
          ],
  },
  'IMG.INCOMPATIBLE': {
    requirements: ['4.3.2', '4.3.10'],
    answer: ({ hardwareRevision }) =>
      hardwareRevision === undefined
        ? ['covered', 'vendor and class identifier; no hardware revision is told apart']
        : ['covered', `vendor and class identifier, of model and hardware revision ${hardwareRevision}`],
  },
  'IMG.FORMAT': {
    requirements: ['4.3.5'],
    answer: always('one flat image by the signed manifest; nothing is sniffed'),
  },
  'IMG.LOCATION': {
    requirements: ['4.3.6'],
    answer: always('the slot comes from the unit’s own map, checked before anything is written'),
  },
  'NET.REDIRECT': {
    requirements: ['4.3.7', '4.3.12'],
    answer: always('signed URI and digest; transport proves nothing'),
  },
  'NET.ONPATH': {
    requirements: ['4.3.4', '4.3.12', '4.3.14', '4.3.16'],
    answer: always('signature or MAC over the manifest, digest over the image; reports are signed'),
  },
  'IMG.REPLACE': {
    requirements: ['4.3.8'],
    answer: ({ memory }) => [
      'in part',
      `verified again at every start from the memory that will run (${memory.shape}); outside internal memory a race remains with whoever can write there`,
    ],
  },
  'IMG.NON_AUTH': {
    requirements: ['4.3.4'],
    answer: ({ scheme, profile }) => [
      'covered',
      `${profile.authentication.name} (${scheme}) over the manifest, SHA-256 over the image`,
    ],
  },
  'UPD.WRONG_PRECURSOR': {
    requirements: ['4.3.9'],
    answer: ({ memory }) =>
      memory.delta_window === undefined
        ? ['covered', 'units take no deltas']
        : ['covered', 'the digest of the precursor is signed and compared first'],
  },
  'UPD.UNAPPROVED': {
    requirements: ['4.3.11', '4.3.13'],
    answer: ({ policy, rights, approvals, scheme }) => {
      if (scheme === 'symmetric')
        return ['in part', 'every unit holds the key that seals: rights cannot be told apart'];
      if (policy && policy.needed > 1)
        return [
          'covered',
          `units ask for ${policy.text}${rights ? ', and limit what each may have done' : ''}`,
        ];
      return approvals > 0
        ? ['in part', `${approvals} approval(s) are asked for before sealing; units ask for one signature`]
        : ['in part', 'one signer decides alone'];
    },
  },
  'IMG.DISCLOSURE': {
    requirements: ['4.3.12'],
    answer: ({ confidentiality, recipients }) =>
      confidentiality === 'image' || confidentiality === 'both'
        ? ['covered', `images are encrypted for ${recipients}; not once a unit is opened`]
        : ['not covered', 'images travel in clear: a choice, if the firmware holds nothing to hide'],
  },
  'MFST.OVERRIDE': {
    requirements: ['4.3.13'],
    answer: always('one author a manifest; no dependencies are accepted'),
  },
  'MFST.EXPOSURE': {
    requirements: ['4.3.14'],
    answer: ({ confidentiality }) =>
      confidentiality === 'message' || confidentiality === 'both'
        ? ['covered', 'envelopes are encrypted when sent, and judged before they are decrypted']
        : ['not covered', 'manifests travel in clear: version, size and target can be read'],
  },
  'IMG.EXTRA': {
    requirements: ['4.3.15'],
    answer: always('exact length and digest; the rest of the slot is erased'),
  },
  'KEY.EXPOSURE': {
    requirements: ['4.3.17', '4.3.18'],
    answer: ({ scheme }, { signers, roots, macKeys }) => {
      const inFiles = [...signers.map(({ description }) => description), ...roots, ...macKeys].filter(
        ({ custody }) => custody === 'file',
      );
      if (scheme === 'symmetric')
        return [
          'in part',
          `units hold the key that seals; cohorts: ${macKeys.filter(({ cohort }) => cohort !== undefined).length}`,
        ];
      return inFiles.length > 0
        ? ['in part', `keys in files of a networked machine: ${inFiles.map(({ name }) => name).join(', ')}`]
        : ['covered', 'keys in tokens or on an offline machine; signers are delegates and can be replaced'];
    },
  },
  'MFST.MODIFICATION': {
    requirements: ['4.3.19', '4.3.20'],
    answer: ({ approvals }) =>
      approvals > 0
        ? [
            'in part',
            'rehearsal on a unit before release, and another person approves the digest of the build; build and signing machine are yours to protect',
          ]
        : ['in part', 'rehearsal on a unit before release; nobody compares the digest with the build'],
  },
  'MFST.TOCTOU': {
    requirements: ['4.3.21'],
    answer: always(
      'wrapper and manifest are copied before they are judged; the image is read back from flash',
    ),
  },
};

/** The threat table of a class: all eighteen threats, and what stands against each. */
export function threatAnswers(deviceClass: DeviceClass, holdings: Holdings): ThreatAnswer[] {
  return THREATS.map(({ name, section, about }) => {
    const { requirements, answer } = ANSWERS[name];
    const [cover, by] = answer(deviceClass, holdings);
    return { threat: name, section, about, requirements, cover, by };
  });
}

/** Where a forgery applies. What does not apply is told as exposure: nobody tried it, so nothing is shown. */
import { carriesImages, namedImages } from './images.ts';
import type { Lab } from './lab.ts';

/** One circumstance: how it is told, whether it is given, and what it means where it is not. */
export interface Place {
  readonly text: string;
  readonly holds: (lab: Lab) => boolean;
  /** What stands against the threat where this is not given, or that nothing does. */
  readonly otherwise: string;
}

const SYMMETRIC_LACKS =
  'units of the symmetric scheme have no certificates to look at: whoever holds the key may seal anything';
const ONE_SIGNER =
  'units ask for one signature: whoever holds that one key needs nobody else; a class can ask for several';

export const PLACES = {
  asymmetric: {
    text: 'asymmetric scheme',
    holds: ({ record }) => record.scheme === 'asymmetric',
    otherwise: SYMMETRIC_LACKS,
  },
  symmetric: {
    text: 'symmetric scheme',
    holds: ({ record }) => record.scheme === 'symmetric',
    otherwise: 'units of the asymmetric scheme hold no secret that a MAC could be made with',
  },
  'single signature': {
    text: 'one signature suffices',
    holds: ({ record }) => record.authentication === undefined,
    otherwise: 'units ask for several signatures; the rows for several signatures apply',
  },
  'ed25519 signers': {
    text: 'signers with Ed25519 keys',
    holds: ({ standIn }) =>
      standIn.sealers.hands.length > 0 &&
      standIn.sealers.hands.every(({ signer }) => signer.algorithm.keyType === 'ed25519'),
    otherwise:
      'signers have no Ed25519 keys, and for the others there is no key under which everybody can sign',
  },
  policy: {
    text: 'several signatures asked for',
    holds: ({ needed }) => needed > 1,
    otherwise: ONE_SIGNER,
  },
  roles: {
    text: 'signers of different roles',
    holds: ({ standIn }) => new Set(standIn.sealers.hands.map(({ likeness }) => likeness.role)).size > 1,
    otherwise: ONE_SIGNER,
  },
  rights: {
    text: 'signers have limited rights',
    holds: ({ record }) => record.rights !== undefined,
    otherwise: 'every signer of the class may have everything done: a class can limit rights',
  },
  'all rights': {
    text: 'signers may have everything done',
    holds: ({ record }) => record.rights === undefined,
    otherwise: 'signers have limited rights, so that another place falls at step manifest already',
  },
  clock: {
    text: 'units have a clock',
    holds: ({ record }) => record.clock,
    otherwise:
      'units have no clock: a signer that ran out is told by the deny list and the minimum generation only',
  },
  'no clock': {
    text: 'units have no clock',
    holds: ({ record }) => !record.clock,
    otherwise: 'units have a clock, and judge the date',
  },
  production: {
    text: 'production units',
    holds: ({ record }) => !record.trial,
    otherwise:
      'this is a trial unit: it takes what trial keys sealed, as a trial does; production units refuse it',
  },
  cohort: {
    text: 'units are in cohorts',
    holds: ({ record }) => record.mac_keys.some(({ cohort }) => cohort !== undefined),
    otherwise: 'the whole class shares one key: whoever reads it out of one unit can forge for all',
  },
  decryption: {
    text: 'units can decrypt',
    holds: ({ standIn }) => standIn.cipher !== undefined,
    otherwise:
      'units hold no key for encrypted images or messages: everybody on the way can read the firmware',
  },
  encryption: {
    text: 'encrypted image',
    holds: ({ parts }) => namedImages(parts).some(({ info }) => info !== undefined),
    otherwise: 'the image travels in clear: everybody on the way can read it',
  },
  'plain image': {
    text: 'image in clear',
    holds: ({ parts }) => namedImages(parts).every(({ info }) => info === undefined),
    otherwise: 'the image travels encrypted; the rows for encrypted images apply',
  },
  'tagged encryption': {
    text: 'encryption with a tag',
    holds: ({ standIn }) => standIn.cipher?.algorithm.mode === 'aead',
    otherwise: 'the profile encrypts without a tag: digests of ciphertext and image stand in for it',
  },
  'untagged encryption': {
    text: 'encryption without a tag',
    holds: ({ standIn }) => standIn.cipher?.algorithm.mode !== 'aead',
    otherwise: 'the profile encrypts with a tag, which tells what was altered',
  },
  dependencies: {
    text: 'a payload that depends on others',
    holds: ({ genuine }) => (genuine.verdict.facts.dependencies ?? []).length > 0,
    otherwise: 'the payload depends on no other manifest, so that there is none to exchange',
  },
  'no dependencies': {
    text: 'units of one image',
    holds: ({ record }) => record.memory.components === undefined,
    otherwise:
      'units have further components, and what their payloads depend on is looked for before this would fall',
  },
  'further components': {
    text: 'units with further components',
    holds: ({ record }) => record.memory.components !== undefined,
    otherwise: 'units are made of one image',
  },
  deltas: {
    text: 'units take deltas',
    holds: ({ record }) => record.memory.delta_window !== undefined,
    otherwise:
      'units set no memory aside for deltas and take whole images only: there is no precursor to be wrong about',
  },
  integrated: {
    text: 'image inside the envelope',
    holds: ({ parts }) => carriesImages(parts),
    otherwise: 'the image comes beside the envelope; the rows for detached images apply',
  },
  detached: {
    text: 'image beside the envelope',
    holds: ({ parts }) => !carriesImages(parts),
    otherwise: 'the image is in the envelope; the rows for integrated images apply',
  },
  'severed text': {
    text: 'text is severed',
    holds: ({ parts }) => parts.severed.has(23),
    otherwise: 'the payload has no severed text',
  },
  'room behind the image': {
    text: 'an image smaller than its slot',
    holds: ({ imageSize, record }) => record.memory.slots.every(({ size }) => imageSize < size),
    otherwise: 'the image fills its slot: there is no room behind it',
  },
  'one form of image': {
    text: 'an image is the same in every slot',
    holds: ({ parts, record: { memory } }) =>
      memory.shape !== 'linked' &&
      !(memory.shape === 'staged' && namedImages(parts).some(({ info }) => info !== undefined)),
    otherwise: 'what waits in one slot does not run in the other: it falls with stored-image-wrong already',
  },
  staged: {
    text: 'one running slot and a staging area',
    holds: ({ record }) => record.memory.shape === 'staged',
    otherwise: 'units have two slots, and no image is moved',
  },
  'no policy area': {
    text: 'units take no trust updates',
    holds: ({ record }) => record.memory.policy === undefined,
    otherwise: 'units take trust updates; the rows for them apply',
  },
  'policy area': {
    text: 'units take trust updates',
    holds: ({ record }) => record.scheme === 'asymmetric' && record.memory.policy !== undefined,
    otherwise:
      'units have no policy area: a leaked signer, or root, is believed until service, whatever the maker does',
  },
  'two slots': {
    text: 'two slots',
    holds: ({ record }) => record.memory.shape !== 'staged',
    otherwise: 'units have one running slot: nothing is left to fall back to but a recovery image',
  },
} as const satisfies Readonly<Record<string, Place>>;

export type PlaceName = keyof typeof PLACES;

/** All units that are attacked. */
import type { Recipient } from '../../../src/cose/index.ts';
import type { AuthenticationPolicy } from '../../../src/unit/index.ts';
import { RADIO } from '../../../test/unit/composed.ts';
import { KEK, toHolders, toUnit } from '../../../test/unit/encrypted.ts';
import { macAuthority } from './authority.ts';
import { certificateAuthority } from './certified.ts';
import { composedRelease } from './composed.ts';
import { DELTA_WINDOW, takingDeltas } from './deltas.ts';
import { messengerTo } from './messages.ts';
import { KEPT_NUMBER, OFFERED_NUMBER, offerFrom } from './offer.ts';
import { ENVELOPE_PAGES, OWN_KEY } from './record.ts';
import { makeRig, type Rig } from './rig.ts';
import { encryptedOffers, KEPT_SEED } from './sealed.ts';

/** What is asked for where several must sign. */
const POLICIES = {
  both: { rule: 'all', roles: [{ role: 'author' }, { role: 'approver' }] },
  twoOfThree: {
    rule: 'at_least',
    count: 2,
    roles: [{ role: 'author' }, { role: 'approver', algorithm: 'Ed25519' }, { role: 'auditor' }],
  },
} as const satisfies Record<string, AuthenticationPolicy>;

export async function makeRigs(): Promise<Rig[]> {
  const plain = await plainRigs();
  return [
    ...plain,
    ...(await policyRigs()),
    await hashRig(),
    ...(await messageRigs()),
    await encryptedStagedRig(),
    await composedRig(),
  ];
}

async function plainRigs(): Promise<Rig[]> {
  const [esp256, ed25519] = [await certificateAuthority('p256'), await certificateAuthority('ed25519')];
  const deltaWindow = DELTA_WINDOW;
  const remapped = makeRig({ name: 'hmac, remapped', authority: macAuthority });
  return [
    takingDeltas(makeRig({ name: 'esp256, remapped', authority: esp256, deltaWindow })),
    { ...remapped, encrypted: await encryptedOffers(remapped, toHolders(KEK)) },
    makeRig({ name: 'ed25519, linked', authority: ed25519, shape: 'linked' }),
    takingDeltas(makeRig({ name: 'hmac, staged', authority: macAuthority, shape: 'staged', deltaWindow })),
  ];
}

async function policyRigs(): Promise<Rig[]> {
  const [author, approver, auditor] = (['author', 'approver', 'auditor'] as const).map((role) => ({
    type: 'p256' as const,
    role,
  }));
  const both = { hands: [author!, approver!], needed: 2 };
  const three = { hands: [author!, { type: 'ed25519' as const, role: 'approver' }, auditor!], needed: 2 };
  return [
    makeRig({
      name: 'author and approver, remapped',
      authority: await certificateAuthority('p256', both),
      authentication: POLICIES.both,
      envelopePages: ENVELOPE_PAGES.large,
    }),
    makeRig({
      name: 'two of three, staged',
      authority: await certificateAuthority('p256', three),
      shape: 'staged',
      authentication: POLICIES.twoOfThree,
      envelopePages: ENVELOPE_PAGES.large,
    }),
  ];
}

/** Hash-based signatures under a root that signs otherwise. */
async function hashRig(): Promise<Rig> {
  const authority = await certificateAuthority('p256', { hands: [{ type: 'hss-lms' }], needed: 1 });
  return makeRig({ name: 'hss-lms, remapped', authority, envelopePages: ENVELOPE_PAGES.large });
}

async function messageRigs(): Promise<Rig[]> {
  const esp256 = await certificateAuthority('p256');
  const signed = makeRig({ name: 'esp256, messages', authority: esp256, ownKey: true });
  const maced = makeRig({ name: 'hmac, messages', authority: macAuthority });
  const sent = async (rig: Rig, recipient: Recipient): Promise<Rig> => ({
    ...rig,
    encrypted: await encryptedOffers(rig, recipient),
    messenger: await messengerTo(recipient, rig.authority),
  });
  return [await sent(signed, toUnit(OWN_KEY)), await sent(maced, toHolders(KEK))];
}

/** The ciphertext waits in the staging area and is decrypted at the start. */
async function encryptedStagedRig(): Promise<Rig> {
  const authority = macAuthority;
  const encrypted = await encryptedOffers({ authority, shape: 'staged' }, toHolders(KEK));
  return makeRig({ name: 'hmac, staged, encrypted', authority, shape: 'staged', encrypted });
}

/** Another maker's image runs beside its own. */
async function composedRig(): Promise<Rig> {
  const authority = await certificateAuthority('p256');
  const hands = [{ type: 'p256' as const }];
  const marl = await certificateAuthority('p256', { hands, needed: 1, classId: RADIO, words: 'marl, ' });
  const sealed = (number: number, seed: number) => composedRelease(authority, marl, { number, seed });
  const releases = [
    await sealed(KEPT_NUMBER, KEPT_SEED),
    await sealed(KEPT_NUMBER - 1, 5),
    await sealed(OFFERED_NUMBER, 2),
    await sealed(OFFERED_NUMBER, 3),
  ];
  const [first, old, ...offers] = releases.map(({ envelope }) => offerFrom(envelope, undefined, 1));
  const rig = makeRig({
    name: 'esp256, with a radio',
    authority,
    radioMaker: marl,
    envelopePages: ENVELOPE_PAGES.large,
    sealed: { offers, first: first!, others: [old!] },
  });
  return { ...rig, radio: { authority: marl, images: releases.map(({ radioImage }) => radioImage) } };
}

import type { Case, Step } from './case.ts';
import { NEW_COHORT, NEW_SIGNER, NEW_SPARE, REVOKE, SPARE_SIGNER, TRUST_SIGNER } from './key-steps.ts';
import {
  AT_RISK,
  DENY,
  EXPOSURE,
  HALT,
  OTHER_SCHEME,
  PROVE,
  REHEARSE,
  RESEAL,
  RETIRE_ROOT,
  RETIRE_SIGNER,
  ROTATE,
  SEND,
  SERVICE,
} from './steps.ts';
import type { KeyKind } from './subject.ts';

/** A kind of incident, and the response in order. */
export interface IncidentKind {
  readonly name: string;
  readonly about: string;
  /** Kinds of key that it can be about; empty where it is about a class. */
  readonly keys: readonly KeyKind[];
  /** What must be said before the first step. */
  readonly plainly: string;
  readonly steps: readonly Step[];
}

const NEW_HSS: Step = {
  ...NEW_SIGNER,
  why: 'a key whose count of leaves is in doubt must not sign again: one leaf used twice lets anybody forge (NIST SP 800-208)',
};

const RENEW: Step = {
  ...NEW_SIGNER,
  title: 'Make the signer that follows, well before the end',
  why: 'units with a clock refuse an expired signer at install; what runs is never stopped by a date',
};

const SUPERSEDE: Step = {
  ...RETIRE_SIGNER,
  title: 'Retire the old signer once the new one seals',
  why: 'so that nothing is sealed by mistake that units with a clock refuse',
  commands: ({ subject }) => [`fieldseal signer retire ${subject?.name ?? 'KEY'} --reason superseded`],
};

const KEYS_LIST: Step = {
  ...EXPOSURE,
  title: 'Know what lapses when, and which units have a clock',
  why: 'units without a clock do not judge dates; those with one do, at install only',
  commands: () => ['fieldseal key list'],
};

const OLD_CODE: Step = {
  ...RESEAL,
  title: 'Seal the last good code again under a new number, as far as the security floor allows',
  why: 'units never go back to a lower number; one that kept the bad release starts nothing below its security version',
  commands: ({ classes }: Case) =>
    classes.map(
      ({ name }) =>
        `fieldseal broadcast reissue LAST-GOOD-IMAGE --release ${name}/NUMBER --out ${name}-again.suit`,
    ),
};

const RECOVER: Step = {
  ...SERVICE,
  id: 'recover',
  title: 'Serve units that no longer start, by the recovery image or at their place',
  why: 'what does not start hears nothing',
};

const BAD_EXPOSURE: Step = {
  ...EXPOSURE,
  title: 'Know which units took the bad release, and which kept it',
  why: 'units on trial fall back by themselves; those that kept it need the next release',
  commands: () => ['fieldseal report appraise REPORT'],
};

export const INCIDENT_KINDS: readonly IncidentKind[] = [
  {
    name: 'signer-leak',
    about: 'the key of a signer is, or may be, in somebody else’s hands',
    keys: ['signer', 'trust signer', 'announcement signer'],
    plainly:
      'repairable on every unit that hears a trust update; a unit that hears none believes the signer on',
    steps: [HALT, RETIRE_SIGNER, EXPOSURE, NEW_SIGNER, DENY, SEND, RESEAL, REHEARSE, REVOKE, PROVE, AT_RISK],
  },
  {
    name: 'root-leak',
    about: 'the key of a root is, or may be, in somebody else’s hands',
    keys: ['root'],
    plainly: 'repairable only on units that were provisioned with a spare root; all others need service',
    steps: [
      HALT,
      EXPOSURE,
      TRUST_SIGNER,
      SPARE_SIGNER,
      ROTATE,
      SEND,
      RETIRE_ROOT,
      RESEAL,
      REHEARSE,
      NEW_SPARE,
      PROVE,
      AT_RISK,
    ],
  },
  {
    name: 'class-key-leak',
    about: 'the key that a whole symmetric class shares is, or may be, in somebody else’s hands',
    keys: ['class key', 'station key'],
    plainly:
      'CANNOT BE REPAIRED IN THE FIELD: every unit of the class believes whoever holds the key, and no message under it proves anything',
    steps: [HALT, EXPOSURE, PROVE, OTHER_SCHEME, SERVICE, AT_RISK],
  },
  {
    name: 'cohort-key-leak',
    about: 'the key of one cohort of a symmetric class is, or may be, in somebody else’s hands',
    keys: ['cohort key'],
    plainly:
      'CANNOT BE REPAIRED IN THE FIELD for the units of this cohort; the other cohorts are not reached, and go on',
    steps: [HALT, EXPOSURE, PROVE, NEW_COHORT, SERVICE, AT_RISK],
  },
  {
    name: 'certificate-expiry',
    about: 'the certificate of a signer ends, or has ended',
    keys: ['signer', 'trust signer', 'announcement signer'],
    plainly: 'no unit stops: dates are judged at install only, and only by units with a clock',
    steps: [KEYS_LIST, RENEW, RESEAL, REHEARSE, SUPERSEDE],
  },
  {
    name: 'bad-release',
    about: 'a genuine release does harm, or does not start',
    keys: [],
    plainly: 'the way back is forward: the old code under a new number; nothing lower is ever taken',
    steps: [HALT, BAD_EXPOSURE, OLD_CODE, REHEARSE, RECOVER],
  },
  {
    name: 'hss-doubt',
    about: 'the state of an HSS/LMS key is in doubt: restored, copied, or two machines signed with it',
    keys: ['signer', 'trust signer', 'announcement signer'],
    plainly: 'a leaf that may have signed twice counts as a leak of the key; nothing brings the state back',
    steps: [RETIRE_SIGNER, HALT, EXPOSURE, NEW_HSS, DENY, SEND, RESEAL, REHEARSE, REVOKE, AT_RISK],
  },
];

/** The kind of that name, or undefined. */
export function incidentKind(name: string): IncidentKind | undefined {
  return INCIDENT_KINDS.find((kind) => kind.name === name);
}

import type { Answer, Known } from './requirements.ts';
import type { Evidence } from './schema.ts';

interface Rule {
  readonly rule: string;
  readonly where: string;
  readonly asks: string;
  /** How far the text was read when this table was made. */
  readonly status: Evidence['rules'][number]['status'];
  answer(known: Known): Answer;
}

const CRA = 'EU CRA, Regulation (EU) 2024/2847';
const EN = 'ETSI EN 303 645';
const IEC2 = 'IEC 62443-4-2';
const R156 = 'UN R156 (vehicles)';

const outside =
  (evidence: string): Rule['answer'] =>
  () => ['by the product', evidence];

const authentic = ({ release, seals }: Known): Answer => {
  const holds = seals.length > 0 && seals.every(({ chain_holds }) => chain_holds !== false);
  const told = `${release.profile} over manifest and image digest`;
  return holds ? ['shown', told] : ['not shown', `${told}; but a chain on file does not hold`];
};

const atStart = ({ rehearsals }: Known): Answer =>
  rehearsals.some(({ outcome }) => outcome === 'passed')
    ? ['shown', 'a unit verifies signature or MAC and digest at every start; rehearsed on a virtual unit']
    : ['in part', 'a unit verifies at every start; no rehearsal is among the evidence'];

const support = ({ support_until }: Known): Answer =>
  support_until === null
    ? ['not shown', 'no support period is stated: say support_until under plan in the class file']
    : ['shown', `security updates are promised until ${support_until}`];

const keys = ({ seals }: Known): Answer =>
  seals.every(({ ceremony }) => ceremony !== null)
    ? ['shown', `ceremony records: ${seals.map(({ ceremony }) => ceremony).join(', ')}`]
    : ['not shown', 'a key has no ceremony record'];

const logs = ({ ledger }: Known): Answer =>
  ledger.intact
    ? ['shown', `hash chain of ${ledger.entries} entries, intact; sealing is entry ${ledger.entry}`]
    : ['not shown', 'the ledger is not intact'];

const anchors = ({ production: { units, lock_proved } }: Known): Answer => {
  if (units === 0) return ['not shown', 'no provisioned unit is on record'];
  const told = `lock of the trust anchor proved by a refused overwrite: ${lock_proved} of ${units} units on record`;
  return [lock_proved === units ? 'shown' : 'not shown', told];
};

const debug = ({ production: { units, debug_closed } }: Known): Answer => {
  if (units === 0) return ['not shown', 'no provisioned unit is on record'];
  const told = `debug port closed: ${debug_closed} of ${units} units on record`;
  return [debug_closed === units ? 'shown' : 'not shown', told];
};

/** What stands for a part of what a rule asks; the rest is decided elsewhere, and named. */
const partly =
  (answer: Rule['answer'], rest: string): Rule['answer'] =>
  (known) => {
    const [cover, evidence] = answer(known);
    return [cover === 'shown' ? 'in part' : cover, `${evidence}; ${rest}`];
  };

/** Rules that an auditor asks about, as the trade knows them; the status says how far each text was read. No legal advice. */
export const RULES: readonly Rule[] = [
  {
    rule: CRA,
    where: 'Annex I Part I (2)(c)',
    asks: 'security updates, automatic by default where applicable, opt-out, postpone',
    status: 'secondary copies',
    answer: outside('this release is an update; how it is offered is decided in the product'),
  },
  {
    rule: CRA,
    where: 'Annex I Part I (2)(d)',
    asks: 'protection from unauthorised access',
    status: 'secondary copies',
    answer: partly(authentic, 'access to the product itself is outside this evidence'),
  },
  {
    rule: CRA,
    where: 'Annex I Part I (2)(e)',
    asks: 'confidentiality of data',
    status: 'secondary copies',
    answer: ({ release }) =>
      release.encryption === null
        ? ['by the product', 'firmware travels in clear; data of the product are outside this evidence']
        : [
            'in part',
            `the image is encrypted with ${release.encryption}; data of the product are outside this evidence`,
          ],
  },
  {
    rule: CRA,
    where: 'Annex I Part I (2)(f)',
    asks: 'integrity of programs and commands',
    status: 'secondary copies',
    answer: authentic,
  },
  {
    rule: CRA,
    where: 'Annex I Part I (2)(j), (l)',
    asks: 'limited attack surface; logging',
    status: 'partly from memory',
    answer: partly(logs, 'that is what the maker did; what the product exposes and logs is decided there'),
  },
  {
    rule: CRA,
    where: 'Annex I Part II (1)',
    asks: 'a bill of materials of the software',
    status: 'secondary copies',
    answer: outside('none is part of this evidence: keep it with the build record of this digest'),
  },
  {
    rule: CRA,
    where: 'Annex I Part II (2), (8)',
    asks: 'fix without delay; free of charge, with an advisory',
    status: 'secondary copies',
    answer: outside('dates of discovery and of the advisory are outside this evidence'),
  },
  {
    rule: CRA,
    where: 'Annex I Part II (7)',
    asks: 'secure distribution of updates',
    status: 'secondary copies',
    answer: partly(authentic, 'how it is distributed is outside this evidence'),
  },
  {
    rule: CRA,
    where: 'Article 13(8)',
    asks: 'a support period, normally five years at least',
    status: 'secondary copies',
    answer: support,
  },
  {
    rule: CRA,
    where: 'Annex VII',
    asks: 'the technical file names the secure update solution',
    status: 'secondary copies',
    answer: ({ plan }) =>
      plan
        ? ['in part', `decision record, entry ${plan.entry} of the ledger, by ${plan.decided_by}`]
        : ['not shown', 'no decision record is on the ledger: fieldseal plan'],
  },
  {
    rule: EN,
    where: '5.3-2, 5.3-10',
    asks: 'secure update mechanism; each network update verified by a trust relationship (M)',
    status: 'secondary copies',
    answer: authentic,
  },
  {
    rule: EN,
    where: '5.3-3',
    asks: 'updates are simple to apply (M)',
    status: 'secondary copies',
    answer: outside('decided in the product'),
  },
  {
    rule: EN,
    where: '5.3-7',
    asks: 'best-practice cryptography (M)',
    status: 'secondary copies',
    answer: ({ release }) => ['shown', `${release.profile} of draft-ietf-suit-mti`],
  },
  {
    rule: EN,
    where: '5.3-8',
    asks: 'timely updates (M)',
    status: 'secondary copies',
    answer: outside('dates of discovery are outside this evidence'),
  },
  {
    rule: EN,
    where: '5.3-9',
    asks: 'authenticity and integrity of updates are verified (R)',
    status: 'secondary copies',
    answer: authentic,
  },
  {
    rule: EN,
    where: '5.3-11, 5.3-12',
    asks: 'people are told about updates',
    status: 'secondary copies',
    answer: outside('decided in the product'),
  },
  {
    rule: EN,
    where: '5.3-13',
    asks: 'the support period is published (M)',
    status: 'secondary copies',
    answer: support,
  },
  {
    rule: EN,
    where: '5.3-16',
    asks: 'the model can be read (M)',
    status: 'secondary copies',
    answer: ({ release }) => [
      'in part',
      `the model is ${release.model}; how people read it is decided in the product`,
    ],
  },
  {
    rule: EN,
    where: '5.4-1 to 5.4-3',
    asks: 'secrets are stored securely and not hard-coded',
    status: 'secondary copies',
    answer: outside('the memory of the part protects them; see the provisioning records'),
  },
  {
    rule: EN,
    where: '5.4-4',
    asks: 'keys used to check updates are unique per device (M)',
    status: 'secondary copies',
    answer: ({ release }) =>
      release.scheme === 'asymmetric'
        ? ['shown', 'units hold a public key, which is no secret']
        : [
            'not shown',
            'units of this class share a secret key: in consumer devices this conflicts with the provision',
          ],
  },
  {
    rule: EN,
    where: '5.6',
    asks: 'exposed interfaces are minimised',
    status: 'secondary copies',
    answer: debug,
  },
  {
    rule: EN,
    where: '5.7-1, 5.7-2',
    asks: 'software integrity at start',
    status: 'partly from memory',
    answer: atStart,
  },
  {
    rule: 'EN 18031-1',
    where: 'SUM, SSM, CCK',
    asks: 'secure update, secure storage, cryptographic keys',
    status: 'from memory',
    answer: partly(authentic, 'secure storage is in the part'),
  },
  {
    rule: IEC2,
    where: 'CR 1.5, 1.8, 1.9, 1.14',
    asks: 'management of keys and certificates',
    status: 'partly from memory',
    answer: keys,
  },
  {
    rule: IEC2,
    where: 'CR 2.8 to 2.12',
    asks: 'audit records',
    status: 'partly from memory',
    answer: partly(
      logs,
      'that is what the maker did; audit records of the component are decided in the product',
    ),
  },
  { rule: IEC2, where: 'CR 3.4', asks: 'software integrity', status: 'secondary copies', answer: authentic },
  {
    rule: IEC2,
    where: 'CR 4.3',
    asks: 'use of cryptography',
    status: 'partly from memory',
    answer: ({ release }) => ['shown', `${release.profile} of draft-ietf-suit-mti`],
  },
  {
    rule: IEC2,
    where: 'CR 7.3, 7.4',
    asks: 'backup and recovery',
    status: 'partly from memory',
    answer: ({ deviceClass: { memory } }) =>
      memory.shape === 'staged' && !memory.recovery
        ? ['not shown', 'no recovery image']
        : [
            'in part',
            memory.shape === 'staged'
              ? 'a recovery image; prove it on a real unit'
              : 'the release before stays in its slot; prove the fallback on a real unit',
          ],
  },
  {
    rule: IEC2,
    where: 'EDR 2.13',
    asks: 'diagnostic and test interfaces',
    status: 'secondary copies',
    answer: debug,
  },
  {
    rule: IEC2,
    where: 'EDR 3.10 RE(1)',
    asks: 'updates: authenticity and integrity',
    status: 'secondary copies',
    answer: authentic,
  },
  {
    rule: IEC2,
    where: 'EDR 3.11',
    asks: 'physical tamper resistance',
    status: 'secondary copies',
    answer: outside('outside RFC 9124 (section 4.1) and this program'),
  },
  {
    rule: IEC2,
    where: 'EDR 3.12, 3.13',
    asks: 'roots of trust of supplier and asset owner',
    status: 'secondary copies',
    answer: anchors,
  },
  {
    rule: IEC2,
    where: 'EDR 3.14 RE(1)',
    asks: 'boot: integrity and authenticity',
    status: 'secondary copies',
    answer: atStart,
  },
  {
    rule: 'IEC 62443-4-1',
    where: 'SUM-1 to SUM-5, SM-8',
    asks: 'management of security updates; control of private keys',
    status: 'from memory',
    answer: partly(keys, 'how updates are managed is a process of the maker'),
  },
  {
    rule: 'NIST SP 800-193',
    where: '4.1 to 4.4',
    asks: 'roots of trust; protection, detection, recovery',
    status: 'from memory',
    answer: partly(atStart, 'roots of trust and recovery are to be proved on the part'),
  },
  {
    rule: 'NISTIR 8259A',
    where: 'software update',
    asks: 'updates by authorised entities only',
    status: 'from memory',
    answer: authentic,
  },
  {
    rule: 'UN R155 (vehicles)',
    where: '7.2.2.2; Annex 5 4.3.2',
    asks: 'threats to update procedures are managed',
    status: 'from memory',
    answer: outside('a process of the maker; this evidence can be part of it'),
  },
  {
    rule: R156,
    where: '7.1.3, 7.2.1.1',
    asks: 'updates are protected: authenticity and integrity',
    status: 'from memory',
    answer: authentic,
  },
  {
    rule: R156,
    where: '7.2.1.2, 7.2.2',
    asks: 'software identification; safe state, enough power, people informed',
    status: 'from memory',
    answer: outside('decided in the vehicle'),
  },
];

/** The table for one release. */
export function rulesOf(known: Known): Evidence['rules'] {
  return RULES.map(({ answer, ...rule }) => {
    const [cover, evidence] = answer(known);
    return { ...rule, cover, evidence };
  });
}

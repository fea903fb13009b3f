import { formatSize } from '../../image/index.ts';
import type { DeviceClass } from '../../workspace/index.ts';
import type { Holdings } from './holdings.ts';
import type { AddedBytes } from './sizes.ts';

/** One decision of a plan and what follows from it. */
export interface Choice {
  readonly choice: string;
  readonly chosen: string;
  readonly consequences: readonly string[];
}

const DAY = 86_400_000;

/** The decisions that a class file and a workspace hold, with what follows for this class. */
export function choicesOf(deviceClass: DeviceClass, holdings: Holdings, own: AddedBytes): Choice[] {
  return [
    scheme(deviceClass),
    profile(deviceClass, own),
    custody(deviceClass, holdings),
    encryption(deviceClass, own),
    counters(deviceClass, holdings),
    certificates(deviceClass, holdings),
    people(deviceClass),
    slots(deviceClass),
  ];
}

function scheme({ scheme: chosen }: DeviceClass): Choice {
  const consequences =
    chosen === 'asymmetric'
      ? [
          'units hold a public key: reading one out does no harm, overwriting it does, so it is locked and the lock is proved',
          'a leaked signer is revoked and replaced under the same root; a leaked root is not',
        ]
      : [
          'units hold a secret: whoever reads one out can forge for all that share it',
          'nothing below a leaked key can be revoked; the scheme is sound only where one owner holds all units and keys',
        ];
  return { choice: 'scheme', chosen, consequences };
}

function profile(
  { profile: { name, authentication, source }, memory }: DeviceClass,
  { weight, verifications }: AddedBytes,
): Choice {
  return {
    choice: 'profile',
    chosen: `${name} (${source})`,
    consequences: [
      `a release is ${weight.added} bytes larger than its image: ${weight.seals} of seals and certificates, ${weight.manifest} of manifest`,
      verifications === 0
        ? `${authentication.name}: one MAC, at hash speed`
        : `${authentication.name}: ${verifications} verifications, at install and again at every start`,
      `units keep ${weight.kept} of ${weight.room} bytes of envelope for each of ${memory.slots.length} slots`,
    ],
  };
}

function custody({ scheme: chosen }: DeviceClass, { roots, signers, macKeys }: Holdings): Choice {
  const all =
    chosen === 'asymmetric'
      ? [...roots, ...signers.map(({ description }) => description)].map(
          ({ name, custody: where }) => `${name}: ${where}`,
        )
      : macKeys.map(({ name, custody: where }) => `${name}: ${where}`);
  return {
    choice: 'custody',
    chosen: all.length === 0 ? 'no keys yet' : all.join(', '),
    consequences: [
      'file: protected at rest by a passphrase; in the memory of a networked machine while it is used',
      'token: never leaves it; a hijacked machine can still have it sign while it is plugged in',
      'offline: signs nothing day to day; each use is a ceremony',
    ],
  };
}

function encryption({ confidentiality, recipients }: DeviceClass, { encrypted, weight }: AddedBytes): Choice {
  const adds = encrypted.weight.added - weight.added;
  return {
    choice: 'encryption',
    chosen: confidentiality === 'none' ? 'none' : `${confidentiality}, for ${recipients}`,
    consequences: [
      `encrypted images add ${adds} bytes for ${encrypted.recipients} recipient(s) (${encrypted.kind})`,
      'it keeps distribution paths from reading firmware, and is no defence once a unit is opened; it never replaces the seal',
    ],
  };
}

function counters({ jumpLimit, clock }: DeviceClass, { lastNumber, securityVersion }: Holdings): Choice {
  return {
    choice: 'counters',
    chosen: `sequence number (last sealed ${lastNumber}), security version (highest sealed ${securityVersion})`,
    consequences: [
      'the sequence number orders releases and rises with each; old firmware goes out again under a new number',
      'the security version is raised only when a flaw must never come back; units that kept it never return below it',
      `a step of more than ${jumpLimit} takes an explicit yes: once a unit keeps a number, no lower one is ever accepted`,
      clock
        ? 'units have a clock: dates of certificates are judged at install'
        : 'units have no clock: nothing expires on them by itself',
    ],
  };
}

function certificates({ scheme: chosen, certificatePolicy }: DeviceClass, { signers }: Holdings): Choice {
  if (chosen === 'symmetric')
    return {
      choice: 'certificate lifetime',
      chosen: 'no certificates',
      consequences: ['a class key has no end: it is changed by provisioning units anew'],
    };
  const { sealWithinDays, minimumSignerGeneration } = certificatePolicy;
  const told = signers.map(({ description, chain }) => {
    const { notBefore, notAfter } = chain[0]!;
    const days = notAfter && Math.round((notAfter.getTime() - notBefore.getTime()) / DAY);
    return `${description.name}: ${days ?? 'without end'}${days === null ? '' : ` days, until ${notAfter!.toISOString().slice(0, 10)}`}`;
  });
  return {
    choice: 'certificate lifetime',
    chosen: told.length === 0 ? 'no signer yet' : told.join('; '),
    consequences: [
      sealWithinDays === undefined
        ? 'a signer seals here until its certificate ends'
        : `a signer seals here for ${sealWithinDays} days after its start`,
      `new units take signers from generation ${minimumSignerGeneration} on`,
      'the root has no end: units take its name and key, not its dates',
    ],
  };
}

function people({ approvals, policy }: DeviceClass): Choice {
  return {
    choice: 'who decides',
    chosen: `${approvals === 0 ? 'no approval' : `${approvals} approval(s)`} before sealing; units ask for ${policy?.text ?? 'one seal'}`,
    consequences: [
      'approvals bind this program and stand in the ledger; only signatures that units ask for bind whoever holds a key',
    ],
  };
}

function slots({ memory }: DeviceClass): Choice {
  const places = memory.slots.map(({ name, size }) => `${name} ${formatSize(size)}`).join(', ');
  return {
    choice: 'slots and recovery',
    chosen: `${memory.shape}: ${places}${memory.recovery ? `, recovery ${formatSize(memory.recovery.size)}` : ''}`,
    consequences: [
      memory.shape === 'staged'
        ? 'one running slot: out of service while it updates; the way back is the recovery image'
        : 'two slots: the release before stays, and is started again when a new one does not prove itself',
    ],
  };
}

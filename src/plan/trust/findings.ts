import { MAX_RECIPIENTS } from '../../cose/index.ts';
import type { DeviceClass, Workspace } from '../../workspace/index.ts';
import type { Holdings } from './holdings.ts';
import { unitsOf } from './leaks.ts';
import type { AddedBytes } from './sizes.ts';

/** How much a finding weighs: it conflicts with a rule or breaks the plan; it is to be weighed; it is good to know. */
export const WEIGHTS = ['conflict', 'weigh', 'note'] as const;
export type Weight = (typeof WEIGHTS)[number];

/** Something about a class's plan that somebody should decide on. */
export interface Finding {
  readonly id: string;
  readonly weight: Weight;
  readonly says: string;
  readonly means: string;
  readonly next: string;
  /** The rule or document behind it, and how far it was read; undefined where it is common practice or arithmetic. */
  readonly rule: string | undefined;
}

/** What findings are made from. */
export interface PlanFacts {
  readonly workspace: Workspace;
  readonly deviceClass: DeviceClass;
  readonly holdings: Holdings;
  readonly own: AddedBytes;
  readonly now: Date;
  readonly lifeYears: number;
  readonly releasesPerYear: number;
}

type Rule = (facts: PlanFacts) => Generator<Finding>;

const DAY = 86_400_000;
const YEAR = 365.25 * DAY;
const AHEAD = YEAR;
const LONG_LIFE_YEARS = 10;
const EN_303_645 = 'ETSI EN 303 645 provision 5.4-4 (M; text read in secondary copies)';

/** All findings about a plan, the weightiest first. */
export function findingsOf(facts: PlanFacts): Finding[] {
  const all = RULES.flatMap((rule) => [...rule(facts)]);
  return WEIGHTS.flatMap((weight) => all.filter((finding) => finding.weight === weight));
}

function* sharedKeyInUnits({ deviceClass, holdings }: PlanFacts): Generator<Finding> {
  const { scheme, plan, name } = deviceClass;
  if (scheme !== 'symmetric') return;
  yield {
    id: 'class-key-in-units',
    weight: plan.consumer === true ? 'conflict' : plan.consumer === undefined ? 'weigh' : 'note',
    says: `every unit of ${name} holds the key that releases are MACed under${plan.consumer === undefined ? '; whether consumers get these units is not said' : ''}`,
    means:
      plan.consumer === false
        ? 'the provision is about consumer devices; a leak still opens every unit that shares the key'
        : 'critical security parameters used to check updates must be unique per device in consumer devices; a key that units share is not',
    next: 'choose the asymmetric scheme, or keys of each unit; where it stays, keep the units in one owner’s hands and write down why',
    rule: EN_303_645,
  };
  const units = unitsOf(deviceClass, holdings);
  if (holdings.macKeys.some(({ cohort }) => cohort !== undefined)) return;
  yield {
    id: 'no-cohorts',
    weight: 'weigh',
    says: 'there are no cohort keys',
    means: `one unit read out opens ${units === undefined ? 'all of them' : `all ${units}`}`,
    next: `fieldseal cohort-key create ${name} COHORT, for each batch or site`,
    rule: undefined,
  };
}

function* trialKeys({ workspace }: PlanFacts): Generator<Finding> {
  if (workspace.kind === 'production') return;
  yield {
    id: 'trial-keys',
    weight: 'conflict',
    says: 'this is a trial workspace: its keys are marked as test keys',
    means: 'nothing made here may go to fielded units, and production units refuse it',
    next: 'set the plan up again in a production workspace: fieldseal init DIR --vendor-domain DOMAIN --production',
    rule: undefined,
  };
}

function* recovery({ deviceClass }: PlanFacts): Generator<Finding> {
  const { memory, name } = deviceClass;
  if (memory.shape === 'staged' && !memory.recovery) {
    yield {
      id: 'no-recovery',
      weight: 'conflict',
      says: 'one running slot, and no recovery image',
      means: 'a unit whose image does not start has no other valid image and no way to get one',
      next: `give classes/${name}.yaml a recovery area, or two slots`,
      rule: 'RFC 9019 section 4.1: another valid image, or a way to get one',
    };
  } else if (memory.shape === 'staged') {
    yield {
      id: 'no-return',
      weight: 'note',
      says: 'one running slot with a staging area and a recovery image',
      means: 'a unit is out of service while it updates, and cannot go back to the release before',
      next: 'prove the recovery path on a real unit, and again with every bootloader',
      rule: undefined,
    };
  }
}

function* roots({ deviceClass, holdings }: PlanFacts): Generator<Finding> {
  if (deviceClass.scheme !== 'asymmetric') return;
  const isSpare = ({ name }: { name: string }) => holdings.spareRoots.includes(name);
  const first = holdings.roots.find((root) => !isSpare(root));
  const spares = holdings.roots.filter(isSpare);
  if (!first || spares.length === 0) {
    yield {
      id: 'no-spare-root',
      weight: 'weigh',
      says: first ? `no spare root beside ${first.name}` : 'there is no root yet',
      means: 'if it leaks or is lost, units cannot be given another one in the field',
      next: 'make a spare root, kept elsewhere, before units are provisioned: fieldseal root create --spare',
      rule: undefined,
    };
  } else if (spares.every(({ algorithm }) => algorithm === first.algorithm)) {
    yield {
      id: 'spare-root-alike',
      weight: 'note',
      says: `all roots are of the same algorithm, ${first.algorithm}`,
      means: 'a break of that algorithm takes the spare along',
      next: 'weigh a spare of another algorithm',
      rule: undefined,
    };
  }
}

function* clocks({ deviceClass, holdings }: PlanFacts): Generator<Finding> {
  const { scheme, clock, certificatePolicy, name } = deviceClass;
  if (scheme !== 'asymmetric') return;
  if (!clock) {
    yield {
      id: 'no-clock',
      weight: certificatePolicy.sealWithinDays === undefined ? 'weigh' : 'note',
      says: 'units have no trusted clock, so they never judge the dates of a certificate',
      means: `a leaked signer is valid for ever until units are told: only the signer generation and the deny list end it${certificatePolicy.sealWithinDays === undefined ? '; nothing but the end of its certificate limits how long a signer seals' : ''}`,
      next: `let certificates be long on the unit and short where they seal: certificate_policy.seal_within_days in classes/${name}.yaml; have the trust update ready`,
      rule: 'RFC 9124 section 4.3.18: expiry by time needs a secure clock',
    };
    return;
  }
  const short = holdings.signers.filter(({ chain }) => lifeOf(chain[0]!) < YEAR);
  if (short.length === 0) return;
  yield {
    id: 'short-certificates',
    weight: 'weigh',
    says: `units judge dates, and certificates of ${short.map(({ description }) => description.name).join(', ')} hold for less than a year`,
    means: 'a unit that lay in store, or whose clock was lost, refuses what they signed',
    next: 'renew in time, and seal the last good release again for units that come back late',
    rule: undefined,
  };
}

function* lapsing({ deviceClass, holdings, now, lifeYears }: PlanFacts): Generator<Finding> {
  const supported = deviceClass.plan.supportUntil;
  const until = supported === undefined ? new Date(now.getTime() + lifeYears * YEAR) : new Date(supported);
  for (const { description, chain } of holdings.signers) {
    const ends = chain
      .flatMap(({ notAfter }) => notAfter ?? [])
      .toSorted((a, b) => a.getTime() - b.getTime());
    const [end] = ends;
    if (!end || end >= until) continue;
    const days = Math.floor((end.getTime() - now.getTime()) / DAY);
    yield {
      id: `lapses-${description.name}`,
      weight: end.getTime() - now.getTime() <= AHEAD ? 'weigh' : 'note',
      says: `the certificate of signer ${description.name} ${days < 0 ? `ended ${-days} days ago` : `ends in ${days} days`}, on ${dayOf(end)}; units are ${supported === undefined ? 'in use' : 'supported'} until ${dayOf(until)}`,
      means: deviceClass.clock
        ? 'after that units refuse to install what it signed; installed images go on starting'
        : 'after that it seals nothing here; units, which have no clock, would still take it',
      next: 'plan the next signer and its ceremony now: fieldseal signer create',
      rule: undefined,
    };
  }
}

function* signatureCounts({ holdings, releasesPerYear, lifeYears }: PlanFacts): Generator<Finding> {
  for (const { description, leaves } of holdings.signers) {
    if (!leaves) continue;
    const years = Number(leaves.remaining) / releasesPerYear;
    yield {
      id: `signatures-${description.name}`,
      weight: years < 1 ? 'conflict' : years < lifeYears ? 'weigh' : 'note',
      says: `signer ${description.name} can sign ${leaves.remaining} more times: ${years < 100 ? years.toFixed(1) : 'more than 100'} years at ${releasesPerYear} releases a year`,
      means:
        years < lifeYears
          ? `units are in use for ${lifeYears} years; reissues, trust updates and mistakes use signatures too`
          : 'that outlasts the units, unless many more are sealed than planned',
      next: 'bring the certificate of the next signer to units while this one still signs; never restore its counter',
      rule: 'RFC 8554 section 9.2; NIST SP 800-208 (section numbers from memory)',
    };
  }
}

function* custodies({ workspace, holdings, deviceClass }: PlanFacts): Generator<Finding> {
  const keys = [...holdings.signers.map(({ description }) => description), ...holdings.macKeys];
  const inFiles = keys.filter(({ custody }) => custody === 'file').map(({ name }) => name);
  if (workspace.kind === 'production' && inFiles.length > 0) {
    yield {
      id: 'keys-in-files',
      weight: 'weigh',
      says: `in encrypted files on this machine: ${inFiles.join(', ')}`,
      means:
        'while a command runs, the key is in the memory of a networked machine; whoever takes that machine can copy it',
      next: 'make the next signer in a token: fieldseal signer create NAME --token URI',
      rule: 'RFC 9124 section 4.3.17; IEC 62443-4-1 SM-8 (from memory)',
    };
  }
  if (workspace.kind === 'production' && deviceClass.approvals === 0) {
    yield {
      id: 'one-person',
      weight: 'weigh',
      says: 'releases of this class are sealed by one person alone',
      means: 'one hijacked account or one mistake reaches every unit',
      next: `set approvals: 1 in classes/${deviceClass.name}.yaml`,
      rule: undefined,
    };
  }
}

function* encryption({ deviceClass, own }: PlanFacts): Generator<Finding> {
  const { confidentiality, recipients, name } = deviceClass;
  const { encrypted } = own;
  const encrypts = confidentiality === 'image' || confidentiality === 'both';
  if (encrypts && encrypted.recipients > MAX_RECIPIENTS) {
    yield {
      id: 'too-many-recipients',
      weight: 'conflict',
      says: `${encrypted.recipients} units; a payload carries at most ${MAX_RECIPIENTS} recipients`,
      means: 'a release for all of them cannot be sealed',
      next: `set recipients: cohorts in classes/${name}.yaml`,
      rule: undefined,
    };
  } else if (encrypts && encrypted.weight.kept > encrypted.weight.room) {
    yield {
      id: 'recipients-too-heavy',
      weight: 'conflict',
      says: `with ${encrypted.recipients} recipients units keep ${encrypted.weight.kept} bytes beside an image, and have room for ${encrypted.weight.room}`,
      means: 'such a release is refused when it is sealed',
      next: 'send to cohorts or the class, or give the class a larger envelope area',
      rule: undefined,
    };
  }
  if (encrypts && recipients === 'class') {
    yield {
      id: 'one-content-key',
      weight: 'weigh',
      says: 'one content key is shared by all units of the class',
      means: 'whoever reads it out of one unit reads every image sent to all of them',
      next: 'send to cohorts, or to each unit where the profile has a key agreement',
      rule: 'draft-ietf-suit-firmware-encryption section 11',
    };
  }
  if (own.weight.kept <= own.weight.room) return;
  yield {
    id: 'envelope-too-large',
    weight: 'conflict',
    says: `units keep ${own.weight.kept} bytes of envelope beside an image, and have room for ${own.weight.room}`,
    means: 'a release is refused when it is sealed',
    next: `give classes/${name}.yaml a larger envelope area, or a shorter chain`,
    rule: undefined,
  };
}

function* quantum({ deviceClass, holdings, lifeYears }: PlanFacts): Generator<Finding> {
  const { scheme, profile } = deviceClass;
  if (scheme !== 'asymmetric') return;
  const hashBased = profile.authentication.name === 'HSS-LMS';
  const classical = holdings.roots.filter(({ algorithm }) => algorithm !== 'HSS-LMS');
  if (hashBased && classical.length > 0) {
    yield {
      id: 'root-not-hash-based',
      weight: 'weigh',
      says: `signers are hash-based, and their root ${classical[0]!.name} is ${classical[0]!.algorithm}`,
      means:
        'the chain stands up to a quantum computer only as far as its weakest signature: whoever breaks the root certifies signers',
      next: 'weigh it against the life of the units; roots are made as P-256 or Ed25519 here',
      rule: 'RFC 9019 section 7',
    };
  } else if (!hashBased && lifeYears >= LONG_LIFE_YEARS) {
    yield {
      id: 'long-life',
      weight: 'note',
      says: `units are meant to run for ${lifeYears} years under ${profile.authentication.name}`,
      means: 'code that cannot be replaced should verify with post-quantum signatures',
      next: 'compare suit-sha256-hsslms-a256kw-a256ctr below',
      rule: 'RFC 9019 section 7; draft-ietf-suit-mti section 3',
    };
  }
}

function* wear({ deviceClass, releasesPerYear, lifeYears }: PlanFacts): Generator<Finding> {
  const { memory, trialAttempts } = deviceClass;
  const perSlot = memory.shape === 'staged' ? 1 : 2;
  const erases = Math.ceil((releasesPerYear * lifeYears * trialAttempts) / perSlot);
  if (erases * 2 < memory.flash.endurance) return;
  yield {
    id: 'wear',
    weight: erases > memory.flash.endurance ? 'conflict' : 'weigh',
    says: `about ${erases} erases of each slot in ${lifeYears} years, if every release is tried ${trialAttempts} times; the part is specified for ${memory.flash.endurance}`,
    means: 'flash wears out before the unit does',
    next: 'fewer releases, fewer tries, or a part with more cycles',
    rule: undefined,
  };
}

const RULES: readonly Rule[] = [
  trialKeys,
  sharedKeyInUnits,
  recovery,
  roots,
  clocks,
  lapsing,
  signatureCounts,
  custodies,
  encryption,
  quantum,
  wear,
];

function lifeOf({ notBefore, notAfter }: { notBefore: Date; notAfter: Date | null }): number {
  return notAfter ? notAfter.getTime() - notBefore.getTime() : Number.POSITIVE_INFINITY;
}

function dayOf(date: Date): string {
  return date.toISOString().slice(0, 10);
}

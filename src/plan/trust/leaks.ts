import type { DeviceClass } from '../../workspace/index.ts';
import type { Holdings } from './holdings.ts';

/** What it means for one class that a kind of key is in somebody else's hands. */
export interface LeakConsequence {
  readonly key: 'root' | 'signer' | 'class key' | 'cohort key' | 'content key' | 'unit key' | 'approver key';
  /** Names of the keys of that kind that the class depends on. */
  readonly names: readonly string[];
  /** What its holder can do. */
  readonly gains: string;
  /** Whether its holder alone can make a release that units take. */
  readonly forges: boolean;
  /** Units of the class that it reaches; undefined where that is not known. */
  readonly reaches: number | undefined;
  /** What the maker can do then. */
  readonly repair: string;
  /** Whether that can be done without touching units. */
  readonly repairable: boolean;
}

/** Units that are on record or meant, whichever is more; undefined where neither is known. */
export function unitsOf(
  { plan }: Pick<DeviceClass, 'plan'>,
  { unitsOnRecord }: Holdings,
): number | undefined {
  const known = Math.max(plan.units ?? 0, unitsOnRecord);
  return known === 0 ? undefined : known;
}

/** Who could do what, key by key, if it leaked: for a class as it is set up now (trade practice; RFC 9124 section 4.3.18). */
export function leakConsequences(deviceClass: DeviceClass, holdings: Holdings): LeakConsequence[] {
  const units = unitsOf(deviceClass, holdings);
  const common = { reaches: units };
  const rows =
    deviceClass.scheme === 'asymmetric'
      ? asymmetric(deviceClass, holdings)
      : symmetric(deviceClass, holdings);
  return [...rows, ...others(deviceClass, holdings)].map((row) => ({ ...common, ...row }));
}

type Row = Omit<LeakConsequence, 'reaches'> & { readonly reaches?: number | undefined };

function asymmetric({ policy, memory }: DeviceClass, { roots, spareRoots, signers }: Holdings): Row[] {
  const told = memory.policy !== undefined;
  const spare = spareRoots.length > 0 && told;
  const needed = policy?.needed ?? 1;
  return [
    {
      key: 'root',
      names: roots.map(({ name }) => name),
      gains:
        'certifies signers of its own, for every class of the vendor, and so makes releases that units take',
      forges: true,
      repair: spare
        ? 'a trust update signed under the spare root retires the leaked one; units that are not reached stay exposed'
        : `none in the field: ${told ? 'no spare root is provisioned' : 'units have no policy area and take no trust updates'}, so they are recalled, or opened and provisioned anew`,
      repairable: spare,
    },
    {
      key: 'signer',
      names: signers.map(({ description }) => description.name),
      gains:
        needed > 1
          ? `one of the ${needed} signatures that units ask for; nothing without the others`
          : 'releases for the classes in its certificate, with any sequence number above those on board',
      forges: needed === 1,
      repair: told
        ? 'a new signer of a higher generation under the same root; a trust update that denies the leaked one, first of all; the good release sealed again under a higher number'
        : 'none in the field: units have no policy area, and nothing tells them to believe the signer no more',
      repairable: told,
    },
  ];
}

function symmetric({ name }: DeviceClass, { macKeys, unitsOnRecord }: Holdings): Row[] {
  const cohorts = macKeys.filter(({ cohort }) => cohort !== undefined);
  const shared: Row = {
    key: 'class key',
    names: macKeys.filter(({ cohort }) => cohort === undefined).map((key) => key.name),
    gains: `releases that every unit of ${name} takes; whoever opens one unit has it`,
    forges: true,
    repair:
      'none below the key: what it MACs proves nothing any more, an update included. Physical service, or a second anchor that was provisioned before',
    repairable: false,
  };
  if (cohorts.length === 0) return [shared];
  return [
    shared,
    {
      key: 'cohort key',
      names: cohorts.map((key) => key.name),
      gains: 'releases that the units of its cohort take',
      forges: true,
      reaches: unitsOnRecord === 0 ? undefined : Math.ceil(unitsOnRecord / cohorts.length),
      repair: 'none for the cohort; the others are not touched',
      repairable: false,
    },
  ];
}

function others(deviceClass: DeviceClass, { approvers }: Holdings): Row[] {
  const { confidentiality, recipients, approvals } = deviceClass;
  const rows: Row[] = [];
  if (confidentiality !== 'none') {
    const shared = recipients !== 'units';
    rows.push({
      key: shared ? 'content key' : 'unit key',
      names: [],
      gains: shared
        ? `reads every image sent to ${recipients === 'class' ? 'the class' : 'its cohort'}, earlier ones included; forges nothing`
        : 'reads what was sent to this one unit, earlier releases included; forges nothing',
      forges: false,
      ...(shared ? {} : { reaches: 1 }),
      repair: 'what was read stays read; a new content key needs units to be provisioned anew',
      repairable: false,
    });
  }
  rows.push({
    key: 'approver key',
    names: approvers.map(({ name }) => name),
    gains: `one person's word on a sealing request${approvals === 0 ? ', which this class does not ask for' : ''}; units take nothing that it signs`,
    forges: false,
    reaches: 0,
    repair: `retire it (fieldseal approver retire), and look at what was approved with it since`,
    repairable: true,
  });
  return rows;
}

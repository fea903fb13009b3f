import { fromHex } from '../bytes/index.ts';
import { type ProvisionJob, readIssuedJob } from '../provision/index.ts';
import { type JsonObject, listRecords, readRecord, type Workspace } from '../workspace/index.ts';
import { fingerprint } from '../x509/index.ts';

/** A unit as its provisioning record and its batch know it. */
export interface FieldedUnit {
  readonly className: string;
  readonly serial: string;
  /** When the station finished it, RFC 3339. */
  readonly provisioned: string;
  /** Roots that it holds, by fingerprint, and what it holds them as. */
  readonly anchors: readonly { readonly fingerprint: string; readonly spare: boolean }[];
  /** Check values of the secret keys that it shares. */
  readonly sharedKeys: readonly string[];
  /** Check values of the keys that content keys reach it by. */
  readonly contentKeys: readonly string[];
  /** Fingerprints of its own keys. */
  readonly ownKeys: readonly string[];
  /** Whether trust updates reach it. */
  readonly takesTrust: boolean;
  /** The station whose key its shared keys came wrapped under. */
  readonly station: string | undefined;
}

/** Every unit on record, by class and serial number. */
export function fieldedUnits(workspace: Workspace): FieldedUnit[] {
  const jobs = new Map<string, ProvisionJob>();
  const jobOf = (batch: string) => {
    const job = jobs.get(batch) ?? readIssuedJob(workspace, batch);
    jobs.set(batch, job);
    return job;
  };
  return listRecords(workspace, 'units').map((name) => {
    const { facts } = readRecord(workspace, 'units', name.split('/'));
    return unitFrom(facts, jobOf(String(facts.batch)));
  });
}

interface UnitFacts {
  readonly class: string;
  readonly serial: string;
  readonly finished: string;
  readonly anchors_read_back: readonly { label: string; spki: string }[];
  readonly mac_key_check_values: readonly { check_value: string }[];
  readonly content_key_check_values?: readonly { check_value: string }[];
  readonly unit_keys: readonly { spki: string }[];
}

function unitFrom(record: JsonObject, job: ProvisionJob): FieldedUnit {
  const facts = record as unknown as UnitFacts;
  const spares = job.anchors.filter(({ purpose }) => purpose === 'spare').map(({ spki }) => spki);
  const checkValue = ({ check_value }: { check_value: string }) => check_value;
  return {
    className: facts.class,
    serial: facts.serial,
    provisioned: facts.finished,
    anchors: facts.anchors_read_back.map(({ spki }) => ({
      fingerprint: fingerprint(fromHex(spki)),
      spare: spares.includes(spki),
    })),
    sharedKeys: facts.mac_key_check_values.map(checkValue),
    contentKeys: (facts.content_key_check_values ?? []).map(checkValue),
    ownKeys: facts.unit_keys.map(({ spki }) => fingerprint(fromHex(spki))),
    station: job.station?.name,
    takesTrust: job.scheme === 'asymmetric' && job.memory.policy !== undefined,
  };
}

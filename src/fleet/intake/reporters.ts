import { toHex } from '../../bytes/index.ts';
import type { KnownUnit } from '../../report/index.ts';
import { formatUuid } from '../../suit/index.ts';
import { type ReportingUnit, reportMacKey, signingUnit, type VerifierSession } from '../../verifier/index.ts';
import { listClasses, readClass, readRecord, type Workspace, WorkspaceError } from '../../workspace/index.ts';
import type { FleetStore, UnitName } from '../store/types.ts';
import type { Newcomers } from './newcomers.ts';
import { Renewed } from './renewed.ts';

/** A unit that may report: under which name the store has it, and the keys of its provisioning record. */
export interface Reporter {
  readonly name: UnitName;
  readonly unit: KnownUnit;
}

interface ClassName {
  readonly name: string;
  readonly classId: string;
}

/** Units that are kept in memory; the keys of one are a few hundred bytes. */
const MOST_HELD = 50_000;

/**
 * Who may report: units of the store, with the keys that their provisioning records name. A key of a class is opened only
 * for a unit that MACs.
 */
export class Reporters {
  readonly #session: VerifierSession;
  readonly #store: FleetStore;
  readonly #newcomers: Newcomers;
  readonly #classes: Renewed<readonly ClassName[]>;
  readonly #held = new Map<string, Reporter>();

  constructor(session: VerifierSession, store: FleetStore, newcomers: Newcomers) {
    this.#session = session;
    this.#store = store;
    this.#newcomers = newcomers;
    this.#classes = new Renewed(() => classesOf(session.workspace));
  }

  /**
   * The unit with that device identifier, also where it was provisioned a moment ago; undefined where the store or the records
   * have none. Throws `KeyError`.
   */
  async find(deviceId: Uint8Array, macs: boolean): Promise<Reporter | undefined> {
    const device = toHex(deviceId);
    const held = this.#held.get(device);
    if (held && (!macs || held.unit.macKey)) return held;
    const recorded = () => this.#recorded(device, formatUuid(deviceId));
    const found = (await recorded()) ?? ((await this.#newcomers.enter()) > 0 ? await recorded() : undefined);
    if (!found) return undefined;
    const { facts, name } = found;
    const macKey = macs ? await reportMacKey(this.#session, facts) : undefined;
    const reporter: Reporter = { name, unit: { ...signingUnit(facts), macKey, lastHeard: undefined } };
    if (this.#held.size >= MOST_HELD) this.#held.clear();
    this.#held.set(device, reporter);
    return reporter;
  }

  async #recorded(
    device: string,
    deviceId: string,
  ): Promise<{ facts: ReportingUnit; name: UnitName } | undefined> {
    for (const { name: className, classId } of await this.#classes.get()) {
      const name = { classId, device };
      const serial = (await this.#store.unit(name))?.serial;
      const facts = serial === undefined ? undefined : recordOf(this.#session.workspace, className, serial);
      if (facts?.device_id === deviceId) return { facts, name };
    }
    return undefined;
  }
}

async function classesOf(workspace: Workspace): Promise<ClassName[]> {
  const classes = await Promise.all(listClasses(workspace).map((name) => readClass(workspace, name)));
  return classes.map(({ name, classId }) => ({ name, classId: toHex(classId) }));
}

function recordOf(workspace: Workspace, className: string, serial: string): ReportingUnit | undefined {
  try {
    return readRecord(workspace, 'units', [className, serial]).facts as unknown as ReportingUnit;
  } catch (error) {
    if (error instanceof WorkspaceError && error.code === 'file-missing') return undefined;
    throw error;
  }
}

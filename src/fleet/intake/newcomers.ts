import { listRecords, type Workspace } from '../../workspace/index.ts';
import type { FleetStore } from '../store/types.ts';
import { recordedUnits } from './recorded-units.ts';

/** So that strangers who report again and again cost no more than a look now and then. */
const BETWEEN_LOOKS_MS = 15_000;

/** Units that were provisioned since the last look. */
export class Newcomers {
  readonly #workspace: Workspace;
  readonly #store: FleetStore;
  readonly #entered = new Set<string>();
  #notBefore = 0;

  constructor(workspace: Workspace, store: FleetStore) {
    this.#workspace = workspace;
    this.#store = store;
  }

  /** Enters them in the store and gives how many the store did not have; 0 where somebody looked a moment ago. Throws `FleetError`. */
  async enter(): Promise<number> {
    const now = performance.now();
    if (now < this.#notBefore) return 0;
    this.#notBefore = now + BETWEEN_LOOKS_MS;
    const names = listRecords(this.#workspace, 'units').filter((name) => !this.#entered.has(name));
    const { added } = await this.#store.importUnits(recordedUnits(this.#workspace, names));
    for (const name of names) this.#entered.add(name);
    return added;
  }
}

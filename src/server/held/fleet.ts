import { type FleetStore, fleetKept, fleetPlace, openFleet } from '../../fleet/index.ts';
import { listRecords, type Workspace } from '../../workspace/index.ts';
import { DeskError } from '../error.ts';

/** The fleet store: opened when somebody first asks, and shared by everybody at the desk. */
export class Fleet {
  readonly #workspace: Workspace;
  #opened: Promise<FleetStore> | undefined;

  constructor(workspace: Workspace) {
    this.#workspace = workspace;
  }

  /** Throws `DeskError` not-there before units were brought in; `FleetError`. */
  async store(): Promise<FleetStore> {
    const store = await this.storeIfKept();
    if (store) return store;
    throw new DeskError(
      'not-there',
      'no units of the field are kept here yet',
      'bring them in: fieldseal fleet import UNITS.csv',
    );
  }

  /** Undefined before units were brought in. Throws `FleetError`. */
  async storeIfKept(): Promise<FleetStore | undefined> {
    const place = fleetKept(this.#workspace);
    return place === undefined ? undefined : this.#open(place);
  }

  /** For work that puts units on record into it: made where there are any. Throws `DeskError` not-there, `FleetError`. */
  async storeForRecords(): Promise<FleetStore> {
    const any = listRecords(this.#workspace, 'units').length > 0;
    return any ? this.#open(fleetPlace(this.#workspace)) : this.store();
  }

  #open(place: string): Promise<FleetStore> {
    this.#opened ??= openFleet(place).catch((error: unknown) => {
      this.#opened = undefined;
      throw error;
    });
    return this.#opened;
  }

  async close(): Promise<void> {
    await (await this.#opened?.catch(() => undefined))?.close();
  }
}

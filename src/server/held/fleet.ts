import { type FleetStore, openFleet } from '../../fleet/index.ts';
import { DeskError } from '../error.ts';

/** The fleet store: opened when somebody first asks, and shared by everybody at the desk. */
export class Fleet {
  readonly #kept: () => string | undefined;
  #opened: Promise<FleetStore> | undefined;

  /** `kept`: the path of its file or the address of its database; undefined before units were brought in. */
  constructor(kept: () => string | undefined) {
    this.#kept = kept;
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
    const place = this.#kept();
    if (place === undefined) return undefined;
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

import { existsSync } from 'node:fs';
import { type FleetStore, openFleet } from '../../fleet/index.ts';
import { DeskError } from '../error.ts';

/** The fleet store: opened when somebody first asks, and shared by everybody at the desk. */
export class Fleet {
  readonly #place: string;
  #opened: Promise<FleetStore> | undefined;

  /** `place`: the path of a file, or the address of a database. */
  constructor(place: string) {
    this.#place = place;
  }

  /** Throws `DeskError` not-there before units were brought in; `FleetError`. */
  store(): Promise<FleetStore> {
    if (!this.#place.includes('://') && !existsSync(this.#place)) {
      throw new DeskError(
        'not-there',
        'no units of the field are kept here yet',
        'bring them in: fieldseal fleet import UNITS.csv',
      );
    }
    this.#opened ??= openFleet(this.#place).catch((error: unknown) => {
      this.#opened = undefined;
      throw error;
    });
    return this.#opened;
  }

  async close(): Promise<void> {
    await (await this.#opened?.catch(() => undefined))?.close();
  }
}

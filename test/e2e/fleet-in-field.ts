import { createHash } from 'node:crypto';
import { type FleetStore, openFleet, type UnitReport, type UnitRow } from '../../src/fleet/index.ts';
import { deviceId } from '../../src/provision/index.ts';

/** Units of a class in the field, and what they say, put into the store of a workspace as the intake does. */
export class Field {
  readonly #classId: string;
  readonly #release: { readonly digest: string; readonly sequence: bigint; readonly version: string };
  readonly #store: FleetStore;

  /** `release`: what their reports are about. */
  static async open(
    place: string,
    classId: string,
    release: { digest: string; sequence: bigint; version: string },
  ): Promise<Field> {
    return new Field(await openFleet(place), classId, release);
  }

  private constructor(
    store: FleetStore,
    classId: string,
    release: { digest: string; sequence: bigint; version: string },
  ) {
    this.#store = store;
    this.#classId = classId;
    this.#release = release;
  }

  /** Units with serial numbers HR-00001 and on, of two hardware revisions, at sites of a hundred. */
  async fill(count: number): Promise<void> {
    await this.#store.importUnits(this.#rows(count));
  }

  *#rows(count: number): Generator<UnitRow> {
    for (let n = 1; n <= count; n++) {
      const serial = `HR-${String(n).padStart(5, '0')}`;
      yield {
        classId: this.#classId.replaceAll('-', ''),
        device: deviceId({ class_ids: [this.#classId] }, serial).replaceAll('-', ''),
        serial,
        group: `site-${String(Math.ceil(n / 100)).padStart(2, '0')}`,
        hardware: n % 5 === 0 ? 'B' : 'A',
        version: '1.4.0',
        sequence: 1n,
      };
    }
  }

  /** Identifiers of units of a wave that have not answered, in the order of their serial numbers. */
  async reached(broadcast: number, number: number): Promise<string[]> {
    const { items } = await this.#store.search({
      wave: { broadcast, number },
      state: 'reached',
      limit: 1000,
    });
    return items
      .toSorted((a, b) => (a.serial ?? '').localeCompare(b.serial ?? ''))
      .map(({ device }) => device);
  }

  /** Units that say how it went; of a failure, at which step and why. */
  async say(
    devices: readonly string[],
    outcome: UnitReport['outcome'],
    refusal?: UnitReport['refusal'],
  ): Promise<void> {
    const { digest: manifestDigest, sequence, version } = this.#release;
    await this.#store.takeReports(
      devices.map((device) => {
        const raw = Buffer.from(`${device} ${outcome} ${manifestDigest}`);
        const id = createHash('sha256').update(raw).digest('hex');
        const classId = this.#classId.replaceAll('-', '');
        return {
          classId,
          device,
          id,
          at: new Date(),
          age: 2,
          manifestDigest,
          sequence,
          version,
          outcome,
          refusal,
          raw,
        };
      }),
    );
  }

  close(): Promise<void> {
    return this.#store.close();
  }
}

import type { NamedUnit } from '../named.ts';
import { choose, type Place } from '../router.ts';
import { useDocument } from '../use.ts';
import { Drop } from './drop.tsx';
import { Facts, Tell } from './tell.tsx';

interface Props {
  readonly place: Place;
  readonly unit: NamedUnit;
  /** Choices that no longer hold once it is another unit. */
  readonly clears?: Readonly<Record<string, undefined>>;
}

/** A unit file, of which the desk takes a copy to work with. The address names it. */
export function ChooseUnit({ place, unit: { play, problem, afresh }, clears }: Props) {
  const files = useDocument<{ units: readonly string[] }>('/units');
  const named = place.query.get('unit') ?? '';
  return (
    <section aria-labelledby="unit">
      <h2 id="unit">The unit</h2>
      <Tell problem={files.problem ?? problem} />
      <label>
        A unit file of this workspace
        <select
          value={named}
          onChange={(event) => choose({ ...clears, 'unit-file': undefined, unit: event.currentTarget.value })}
        >
          <option value="">choose one</option>
          {files.value?.units.map((name) => (
            <option key={name} value={name} selected={name === named}>
              {name}
            </option>
          ))}
        </select>
      </label>
      <Drop
        label="Or a unit file from elsewhere"
        file={undefined}
        take={(file) => choose({ ...clears, unit: undefined, 'unit-file': file.sha256 })}
      />
      {play && (
        <>
          <Facts
            facts={[
              ['unit', `${play.shown.serial} of class ${play.shown.class}`],
              ['trust', play.shown.scheme],
              ['slots', play.shown.slots.map(({ name, state }) => `${name} ${state}`).join(', ')],
              ['runs', play.shown.running === null ? 'nothing yet' : `slot ${play.shown.running}`],
              [
                'floors',
                play.shown.floors
                  ? `number ${play.shown.floors.sequence_number}, security version ${play.shown.floors.security_version}`
                  : 'its marks cannot be read',
              ],
            ]}
          />
          <button type="button" class="quiet" onClick={afresh}>
            take a fresh copy of the file
          </button>
        </>
      )}
      <p class="hint">You work with a copy in memory; the unit file itself is never touched.</p>
    </section>
  );
}

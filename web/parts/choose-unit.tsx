import { post } from '../api.ts';
import type { Play } from '../shapes.ts';
import { useDocument, useWork } from '../use.ts';
import { Drop } from './drop.tsx';
import { Facts, Tell } from './tell.tsx';

/** A unit file, of which the desk takes a copy to work with. */
export function ChooseUnit({ play, chosen }: { play: Play | undefined; chosen(play: Play): void }) {
  const files = useDocument<{ units: readonly string[] }>('/units');
  const work = useWork();
  const take = (what: object) => work.run(async () => chosen(await post<Play>('/plays', what)));
  return (
    <section aria-labelledby="unit">
      <h2 id="unit">The unit</h2>
      <Tell problem={files.problem ?? work.problem} />
      <label>
        A unit file of this workspace
        <select onChange={(event) => event.currentTarget.value && take({ unit: event.currentTarget.value })}>
          <option value="">choose one</option>
          {files.value?.units.map((name) => (
            <option key={name} value={name}>
              {name}
            </option>
          ))}
        </select>
      </label>
      <Drop
        label="Or a unit file from elsewhere"
        file={undefined}
        taken={(file) => take({ file: file.id })}
      />
      {play && (
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
      )}
      <p class="hint">You work with a copy in memory; the unit file itself is never touched.</p>
    </section>
  );
}

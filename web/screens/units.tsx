import { useState } from 'preact/hooks';
import { get } from '../api.ts';
import {
  type FleetShown,
  type FleetUnitShown,
  STATE_SAYS,
  UNIT_STATES,
  type UnitsPage,
} from '../fleet-shapes.ts';
import { FleetTally } from '../parts/fleet-tally.tsx';
import { count, Tell } from '../parts/tell.tsx';
import { UnitLifeShown } from '../parts/unit-life.tsx';
import { UnitTable } from '../parts/unit-table.tsx';
import { choose, type Place } from '../router.ts';
import { useDocument, useWork } from '../use.ts';

const FILTERS = ['class', 'state', 'broadcast', 'wave', 'text', 'version', 'refusal', 'silent_days'] as const;

/** Where are the units? How many stand where, which ones, and the life of each. */
export function UnitsScreen({ place }: { place: Place }) {
  const fleet = useDocument<FleetShown>('/fleet');
  const unit = place.query.get('unit');
  const asked = new URLSearchParams(
    FILTERS.flatMap((name) => {
      const value = place.query.get(name);
      return value ? [[name, value]] : [];
    }),
  ).toString();
  return (
    <>
      <h1>Where are the units?</h1>
      <Tell problem={fleet.problem} />
      {unit && <UnitLifeShown key={unit} named={unit} back={`/units?${asked}`} />}
      {fleet.value && (
        <>
          {!unit && <FleetTally fleet={fleet.value} />}
          <Filters place={place} fleet={fleet.value} />
          <Found key={asked} asked={asked} />
        </>
      )}
    </>
  );
}

function Filters({ place, fleet }: { place: Place; fleet: FleetShown }) {
  const value = (name: string) => place.query.get(name) ?? '';
  const set = (name: string) => (event: { currentTarget: { value: string } }) =>
    choose({ unit: undefined, [name]: event.currentTarget.value });
  const [text, setText] = useState(value('text'));
  return (
    <section aria-labelledby="look">
      <h2 id="look">Look for units</h2>
      <form
        class="row filters"
        onSubmit={(event) => {
          event.preventDefault();
          choose({ unit: undefined, text });
        }}
      >
        <label>
          Serial number, identifier or cohort begins with
          <input value={text} autocomplete="off" onInput={(event) => setText(event.currentTarget.value)} />
        </label>
        <button type="submit">Look</button>
        <label>
          Class
          <select value={value('class')} onChange={set('class')}>
            <option value="">any</option>
            {fleet.by_class.map((each) => {
              const name = each.class ?? each.class_id;
              return (
                <option key={name} value={name} selected={name === value('class')}>
                  {name}: {count(each.units)}
                </option>
              );
            })}
          </select>
        </label>
        <label>
          State
          <select value={value('state')} onChange={set('state')}>
            <option value="">any</option>
            {UNIT_STATES.map((state) => (
              <option key={state} value={state} selected={state === value('state')}>
                {STATE_SAYS[state]}
              </option>
            ))}
          </select>
        </label>
        <label>
          Runs
          <select value={value('version')} onChange={set('version')}>
            <option value="">any version</option>
            {fleet.by_version.flatMap(({ version, units }) =>
              version === null
                ? []
                : [
                    <option key={version} value={version} selected={version === value('version')}>
                      {version}: {count(units)}
                    </option>,
                  ],
            )}
          </select>
        </label>
        <label>
          Refused with
          <select value={value('refusal')} onChange={set('refusal')}>
            <option value="">anything or nothing</option>
            {fleet.by_refusal.map(({ step, code, units }) => (
              <option key={code} value={code} selected={code === value('refusal')}>
                {step}: {code}, {count(units)}
              </option>
            ))}
          </select>
        </label>
        <label>
          Silent for days
          <input type="number" min="1" value={value('silent_days')} onChange={set('silent_days')} />
        </label>
      </form>
      {(value('broadcast') || value('wave')) && (
        <p>
          Of broadcast {value('broadcast')}
          {value('wave') && `, wave ${value('wave')}`}.{' '}
          <button
            type="button"
            class="quiet"
            onClick={() => choose({ broadcast: undefined, wave: undefined })}
          >
            of any
          </button>
        </p>
      )}
    </section>
  );
}

/** What was found, page after page as it is asked for. */
function Found({ asked }: { asked: string }) {
  const first = useDocument<UnitsPage>(`/fleet/units?${asked}`);
  const [more, setMore] = useState<{ units: readonly FleetUnitShown[]; next: string | null }>();
  const work = useWork();
  if (first.problem) return <Tell problem={first.problem} />;
  if (!first.value) return <p class="waiting">Looking...</p>;
  const units = [...first.value.units, ...(more?.units ?? [])];
  const next = more ? more.next : first.value.next;
  const fetchMore = () =>
    work.run(async () => {
      const page = await get<UnitsPage>(`/fleet/units?${asked}&after=${encodeURIComponent(next!)}`);
      setMore({ units: [...(more?.units ?? []), ...page.units], next: page.next });
    });
  if (units.length === 0) return <p>No unit is like that.</p>;
  return (
    <section aria-labelledby="found">
      <h2 id="found" aria-live="polite">
        {next === null ? `${count(units.length)} found` : `The first ${count(units.length)}`}
      </h2>
      <UnitTable units={units} asked={asked} />
      <p class="row">
        {next !== null && (
          <button type="button" disabled={work.busy} onClick={fetchMore}>
            Show more
          </button>
        )}
        <a href={`/api/v1/fleet/units.csv?${asked}`} download="units.csv">
          Take all of them as CSV
        </a>
      </p>
      <Tell problem={work.problem} />
    </section>
  );
}

import { useState } from 'preact/hooks';
import { post } from '../api.ts';
import { choose, type Place } from '../router.ts';
import { useDocument, useWork } from '../use.ts';
import { type Incident, OneIncident } from './incident.tsx';
import { Tell } from './tell.tsx';

interface Incidents {
  readonly kinds: readonly {
    readonly name: string;
    readonly about: string;
    readonly keys: readonly string[];
  }[];
  readonly incidents: readonly Incident[];
}

interface Props {
  readonly place: Place;
  readonly keys: readonly string[];
  readonly classes: readonly string[];
}

/** What happened and what to do about it, in order; and a way to say that something has happened. */
export function Incidents({ place, keys, classes }: Props) {
  const { value, problem, again } = useDocument<Incidents>('/incidents');
  if (problem) return <Tell problem={problem} />;
  const asked = place.query.get('incident');
  const picked =
    value?.incidents.find(({ incident }) => incident === asked) ??
    value?.incidents.findLast(({ closed }) => closed === null);
  return (
    <section aria-labelledby="incidents">
      <h2 id="incidents">Incidents</h2>
      {value?.incidents.length === 0 && <p>None on record.</p>}
      {value && value.incidents.length > 0 && <List incidents={value.incidents} picked={picked} />}
      {picked && (
        <OneIncident
          key={picked.incident}
          incident={picked}
          step={place.query.get('step') ?? undefined}
          changed={again}
        />
      )}
      {value && (
        <Open
          place={place}
          kinds={value.kinds}
          keys={keys}
          classes={classes}
          opened={(incident) => {
            choose({ incident, step: undefined, happened: undefined, about: undefined });
            again();
          }}
        />
      )}
    </section>
  );
}

function List({ incidents, picked }: { incidents: readonly Incident[]; picked: Incident | undefined }) {
  return (
    <ul class="incidents">
      {incidents.map(({ incident, kind, key, classes, closed, steps }) => (
        <li key={incident}>
          <a
            href={`/plan?incident=${incident}`}
            aria-current={incident === picked?.incident ? 'true' : undefined}
          >
            {incident}. {kind}: {key ?? classes.join(', ')}
          </a>{' '}
          <span class="soft">
            {closed
              ? 'closed'
              : `${steps.filter(({ state }) => state === 'open').length} of ${steps.length} steps to do`}
          </span>
        </li>
      ))}
    </ul>
  );
}

function Open({
  place,
  kinds,
  keys,
  classes,
  opened,
}: {
  place: Place;
  kinds: Incidents['kinds'];
  keys: readonly string[];
  classes: readonly string[];
  opened(incident: string): void;
}) {
  const [kind, setKind] = useState(place.query.get('happened') ?? '');
  const [about, setAbout] = useState(place.query.get('about') ?? '');
  const work = useWork();
  const chosen = kinds.find(({ name }) => name === kind);
  const ofKey = chosen !== undefined && chosen.keys.length > 0;
  return (
    <details class="choice" open={place.query.get('happened') !== null}>
      <summary>Something has happened</summary>
      <form
        class="row"
        onSubmit={(event) => {
          event.preventDefault();
          work.run(async () => {
            const body = { kind, ...(ofKey ? { key: about } : { class: about }) };
            const { incident } = await post<Incident>('/incidents', body);
            setKind('');
            setAbout('');
            opened(incident);
          });
        }}
      >
        <label>
          What
          <select value={kind} required onChange={(event) => setKind(event.currentTarget.value)}>
            <option value="">choose</option>
            {kinds.map(({ name, about: says }) => (
              <option key={name} value={name} selected={name === kind}>
                {name}: {says}
              </option>
            ))}
          </select>
        </label>
        <label>
          {ofKey ? 'Which key' : 'Which class'}
          <select value={about} required onChange={(event) => setAbout(event.currentTarget.value)}>
            <option value="">choose</option>
            {(ofKey ? keys : classes).map((name) => (
              <option key={name} value={name} selected={name === about}>
                {name}
              </option>
            ))}
          </select>
        </label>
        <button type="submit" disabled={work.busy}>
          Open an incident
        </button>
      </form>
      <p class="hint">
        It is entered in the ledger, and cannot be taken back; it can be closed with a reason.
      </p>
      <Tell problem={work.problem} />
    </details>
  );
}

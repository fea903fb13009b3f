import { useState } from 'preact/hooks';
import { post } from '../api.ts';
import { useDocument, useWork } from '../use.ts';
import { Caution, Tell } from './tell.tsx';

interface Incident {
  readonly incident: string;
  readonly kind: string;
  readonly plainly: string;
  readonly key: string | null;
  readonly classes: readonly string[];
  readonly opened: string;
  readonly closed: string | null;
  readonly steps: readonly {
    readonly id: string;
    readonly title: string;
    readonly why: string;
    readonly commands: readonly string[];
    readonly state: 'done' | 'open' | 'cannot';
    readonly because: string | null;
  }[];
  readonly clocks: readonly {
    readonly id: string;
    readonly title: string;
    readonly due: string | null;
    readonly sent: string | null;
    readonly overdue: boolean;
  }[];
  readonly clock_source: string;
}

interface Incidents {
  readonly kinds: readonly {
    readonly name: string;
    readonly about: string;
    readonly keys: readonly string[];
  }[];
  readonly incidents: readonly Incident[];
}

/** What happened and what to do about it, in order; and a way to say that something has happened. */
export function Incidents({ keys, classes }: { keys: readonly string[]; classes: readonly string[] }) {
  const { value, problem, again } = useDocument<Incidents>('/incidents');
  if (problem) return <Tell problem={problem} />;
  return (
    <section aria-labelledby="incidents">
      <h2 id="incidents">Incidents</h2>
      {value?.incidents.length === 0 && <p>None on record.</p>}
      {value?.incidents.map((incident) => (
        <OneIncident key={incident.incident} incident={incident} changed={again} />
      ))}
      {value && <Open kinds={value.kinds} keys={keys} classes={classes} opened={again} />}
    </section>
  );
}

function Open({
  kinds,
  keys,
  classes,
  opened,
}: {
  kinds: Incidents['kinds'];
  keys: readonly string[];
  classes: readonly string[];
  opened(): void;
}) {
  const [kind, setKind] = useState('');
  const [about, setAbout] = useState('');
  const work = useWork();
  const chosen = kinds.find(({ name }) => name === kind);
  const ofKey = chosen !== undefined && chosen.keys.length > 0;
  return (
    <details class="choice">
      <summary>Something has happened</summary>
      <form
        class="row"
        onSubmit={(event) => {
          event.preventDefault();
          work.run(async () => {
            await post('/incidents', { kind, ...(ofKey ? { key: about } : { class: about }) });
            opened();
          });
        }}
      >
        <label>
          What
          <select value={kind} required onChange={(event) => setKind(event.currentTarget.value)}>
            <option value="">choose</option>
            {kinds.map(({ name, about: says }) => (
              <option key={name} value={name}>
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
              <option key={name} value={name}>
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

const MARK = { done: 'done', open: 'to do', cannot: 'cannot be done' } as const;

function OneIncident({ incident, changed }: { incident: Incident; changed(): void }) {
  const { incident: id, kind, plainly, key, classes, opened, closed, steps, clocks, clock_source } = incident;
  return (
    <article class="incident">
      <h3>
        {kind}: {key ?? classes.join(', ')}{' '}
        <small>{closed ? 'closed' : `opened ${opened.slice(0, 16).replace('T', ' ')}`}</small>
      </h3>
      <p>
        <strong>{plainly}</strong>
      </p>
      <ol class="response">
        {steps.map((step) => (
          <li key={step.id} class={step.state}>
            <details open={step.state === 'open'}>
              <summary>
                {step.title} <span class="state">{MARK[step.state]}</span>
              </summary>
              <p>{step.why}.</p>
              {step.commands.map((command) => (
                <pre key={command}>
                  <code>{command}</code>
                </pre>
              ))}
              {step.because && <p class="hint">{step.because}</p>}
              {step.state === 'open' && !closed && <Done incident={id} step={step.id} changed={changed} />}
            </details>
          </li>
        ))}
      </ol>
      {clocks.map(({ id: clock, title, due, sent, overdue }) => (
        <Caution key={clock}>
          {title}:{' '}
          {sent
            ? `sent ${sent.slice(0, 16)}`
            : overdue
              ? `OVERDUE, was due ${due?.slice(0, 16)}`
              : `due ${due?.slice(0, 16) ?? 'when asked'}`}
        </Caution>
      ))}
      {clocks.length > 0 && <p class="hint">{clock_source}. Not legal advice.</p>}
    </article>
  );
}

function Done({ incident, step, changed }: { incident: string; step: string; changed(): void }) {
  const [note, setNote] = useState('');
  const work = useWork();
  return (
    <form
      class="row"
      onSubmit={(event) => {
        event.preventDefault();
        work.run(async () => {
          await post(`/incidents/${incident}/steps/${step}`, { note });
          changed();
        });
      }}
    >
      <label>
        What was done
        <input value={note} required onInput={(event) => setNote(event.currentTarget.value)} />
      </label>
      <button type="submit" disabled={work.busy}>
        Enter it as done
      </button>
      <Tell problem={work.problem} />
    </form>
  );
}

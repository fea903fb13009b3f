import { useState } from 'preact/hooks';
import { post } from '../api.ts';
import { choose } from '../router.ts';
import { useWork } from '../use.ts';
import { type DeskShare, DoHere } from './do-here.tsx';
import { Caution, moment, sentence, Tell } from './tell.tsx';

/** What happened, its response in order, and its clocks. */
export interface Incident {
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
    readonly desk: DeskShare;
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

const MARK = { done: 'done', open: 'to do', cannot: 'cannot be done' } as const;

/** In the address: every step is closed. */
const NO_STEP = 'none';

interface Props {
  readonly incident: Incident;
  /** The step that the address names. */
  readonly step: string | undefined;
  changed(): void;
}

/** One incident: what must be said first, the response in order, each step with its command, and the clocks. */
export function OneIncident({ incident, step, changed }: Props) {
  const { incident: id, kind, plainly, key, classes, opened, closed, steps, clocks, clock_source } = incident;
  const shown = step ?? steps.find(({ state }) => state === 'open')?.id;
  return (
    <article class="incident">
      <h3>
        {kind}: {key ?? classes.join(', ')} <small>{closed ? 'closed' : `opened ${moment(opened)}`}</small>
      </h3>
      <p>
        <strong>{sentence(plainly)}</strong>
      </p>
      <ol class="response">
        {steps.map((each) => (
          <OneStep
            key={each.id}
            incident={id}
            step={each}
            closed={closed !== null}
            open={each.id === shown}
            changed={changed}
          />
        ))}
      </ol>
      {clocks.map(({ id: clock, title, due, sent, overdue }) => (
        <Caution key={clock}>
          {sentence(title).replace(/\.$/, ':')}{' '}
          {sent
            ? `sent ${moment(sent)}`
            : overdue
              ? `OVERDUE, was due ${moment(due!)}`
              : due
                ? `due ${moment(due)}`
                : 'no hours are laid down: ask when it is due'}
        </Caution>
      ))}
      {clocks.length > 0 && <p class="hint">{sentence(clock_source)}</p>}
    </article>
  );
}

function OneStep({
  incident,
  step,
  closed,
  open,
  changed,
}: {
  incident: string;
  step: Incident['steps'][number];
  closed: boolean;
  open: boolean;
  changed(): void;
}) {
  const { id, title, why, commands, state, because, desk } = step;
  const toDo = state === 'open' && !closed;
  return (
    <li class={state}>
      <details
        open={open}
        onToggle={({ currentTarget }) => {
          if (currentTarget.open !== open) choose({ incident, step: currentTarget.open ? id : NO_STEP });
        }}
      >
        <summary>
          {title} <span class="state">{MARK[state]}</span>
        </summary>
        <p>{sentence(why)}</p>
        {toDo && <DoHere incident={incident} step={id} share={desk} changed={changed} />}
        {commands.map((command) => (
          <pre key={command}>
            <code>{command}</code>
          </pre>
        ))}
        {because && <p class="hint">{sentence(because)}</p>}
        {toDo && <Done incident={incident} step={id} changed={changed} />}
      </details>
    </li>
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

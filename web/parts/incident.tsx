import { useState } from 'preact/hooks';
import { post } from '../api.ts';
import { choose } from '../router.ts';
import { useWork } from '../use.ts';
import { type DeskShare, DoHere } from './do-here.tsx';
import { Caution, counted, moment, sentence, Tell } from './tell.tsx';

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
  const [said, setSaid] = useState('');
  const shown = step ?? steps.find(({ state }) => state === 'open')?.id;
  return (
    <article class="incident">
      <h3>
        {kind}: {key ?? classes.join(', ')} <small>{closed ? 'closed' : `opened ${moment(opened)}`}</small>
      </h3>
      <p>
        <strong>{sentence(plainly)}</strong>
      </p>
      <p class="hint" role="status">
        {said}
      </p>
      <ol class="response">
        {steps.map((each) => (
          <OneStep
            key={each.id}
            incident={id}
            step={each}
            closed={closed !== null}
            open={each.id === shown}
            changed={() => {
              setSaid(`${each.title}: done.`);
              changed();
            }}
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
      {closed === null && (
        <Close id={id} open={steps.filter(({ state }) => state === 'open').length} changed={changed} />
      )}
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
        <DoHere incident={incident} step={id} share={desk} toDo={toDo} changed={changed} />
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
  return (
    <Note
      asks="What was done"
      says="Enter it as done"
      send={(note) => post(`/incidents/${incident}/steps/${step}`, { note }).then(changed)}
    />
  );
}

/** What ends it; what is still open stands in the ledger with the reason. */
function Close({ id, open, changed }: { id: string; open: number; changed(): void }) {
  return (
    <details class="choice">
      <summary>Close it</summary>
      <Caution>
        {open === 0 ? 'Every step is done.' : `${counted(open, 'step')} not done: the reason must say why.`} A
        closed incident is not opened again, and nothing of it is taken back.
      </Caution>
      <Note
        asks="Why it is closed, for the ledger"
        says={`Close incident ${id}`}
        send={(note) => post(`/incidents/${id}/close`, { note }).then(changed)}
      />
    </details>
  );
}

/** A sentence for the ledger, and what it does. */
function Note({ asks, says, send }: { asks: string; says: string; send(note: string): Promise<void> }) {
  const [note, setNote] = useState('');
  const work = useWork();
  return (
    <form
      class="row"
      onSubmit={(event) => {
        event.preventDefault();
        work.run(() => send(note));
      }}
    >
      <label>
        {asks}
        <input value={note} required onInput={(event) => setNote(event.currentTarget.value)} />
      </label>
      <button type="submit" disabled={work.busy}>
        {says}
      </button>
      <Tell problem={work.problem} />
    </form>
  );
}

import { useEffect, useState } from 'preact/hooks';
import { listen, type Problem } from '../api.ts';
import type { BroadcastListed, BroadcastView, EventsPage } from '../fleet-shapes.ts';
import { STATE_SAYS, UNIT_STATES } from '../fleet-shapes.ts';
import { Orders } from '../parts/order.tsx';
import { Mark } from '../parts/plot.tsx';
import { Caution, count, Digest, Facts, moment, sentence, Tell } from '../parts/tell.tsx';
import { WavePlot } from '../parts/wave.tsx';
import { choose, type Place } from '../router.ts';
import { useDocument } from '../use.ts';

/** How does the broadcast go? Its waves live, what comes next and when, and the orders that a person may give. */
export function BroadcastScreen({ place }: { place: Place }) {
  const { value, problem, again } = useDocument<{ broadcasts: readonly BroadcastListed[] }>('/broadcasts');
  const asked = place.query.get('broadcast');
  const id = asked ?? value?.broadcasts[0]?.broadcast.toString();
  return (
    <>
      <h1>How does the broadcast go?</h1>
      <Tell problem={problem} />
      {value?.broadcasts.length === 0 && (
        <p>
          None yet. A release goes out in waves by a plan: <code>fieldseal broadcast plan CLASS</code>, then{' '}
          <code>fieldseal broadcast begin</code>.
        </p>
      )}
      {value && value.broadcasts.length > 1 && (
        <label>
          Which one
          <select value={id} onChange={(event) => choose({ broadcast: event.currentTarget.value })}>
            {value.broadcasts.map((each) => (
              <option key={each.broadcast} value={each.broadcast} selected={each.broadcast.toString() === id}>
                {each.broadcast}: {each.class} {each.version}, {each.state}
              </option>
            ))}
          </select>
        </label>
      )}
      {id !== undefined && <Live key={id} id={id} changed={again} />}
    </>
  );
}

function Live({ id, changed }: { id: string; changed(): void }) {
  const { view, problem, connected } = useLive(id);
  const journal = useDocument<EventsPage>(view && `/broadcasts/${id}/events?at=${view.revision}`);
  if (problem) return <Tell problem={problem} />;
  if (!view) return <p class="waiting">Asking how it stands...</p>;
  return (
    <>
      <p class="hint" role="status">
        {connected ? 'Live: what changes is shown at once.' : 'The desk does not answer; trying again...'}
      </p>
      <Now view={view} />
      <Orders view={view} given={changed} />
      <section aria-labelledby="waves">
        <h2 id="waves">Waves</h2>
        <ul class="legend">
          {UNIT_STATES.filter((state) => state !== 'unheard').map((state) => (
            <li key={state}>
              <Mark state={state} /> {STATE_SAYS[state]}
            </li>
          ))}
        </ul>
        <ol class="waves">
          {view.waves.map((wave) => (
            <WavePlot key={wave.number} wave={wave} view={view} current={wave.number === currentOf(view)} />
          ))}
        </ol>
        <Beyond view={view} />
      </section>
      <Journal page={journal.value} />
    </>
  );
}

/** The wave that the broadcast stands at. */
function currentOf({ next, waves }: BroadcastView): number | undefined {
  return next.wave ?? waves.find(({ state }) => state !== 'passed')?.number;
}

const STATE = {
  planned: 'It has not begun',
  running: 'It runs',
  paused: 'It is paused',
  halted: 'It was halted for good',
  done: 'Every wave passed',
} as const;
const DOES = {
  open: 'Next, a wave opens',
  soak: 'Next, a wave that succeeded is watched',
  pass: 'Next, a wave passes',
  stop: 'Next, it stops',
  done: 'Next, it is done',
  wait: 'Next',
} as const;

function Now({ view }: { view: BroadcastView }) {
  const { state, why, next, release, steered_by, units, class: name } = view;
  const { version, sequence_number, manifest_digest } = release;
  return (
    <>
      <h2 class={`answer ${state === 'halted' || state === 'paused' ? 'refused' : 'accepted'}`}>
        {STATE[state]}: {name} {version}
      </h2>
      {why && (state === 'paused' || state === 'halted') && (
        <p class="notice refused">
          <strong>Why:</strong> {sentence(why)}
        </p>
      )}
      <section class="next" aria-labelledby="next">
        <h3 id="next">{DOES[next.do]}</h3>
        <p>
          {sentence(next.why)}
          {next.until && ` It is looked at again by ${moment(next.until)} at the latest.`}
        </p>
        {steered_by === null && (state === 'running' || state === 'done') && (
          <Caution>
            Nobody steers this class now, so nothing of it happens by itself: run{' '}
            <code>fieldseal broadcast steer {name}</code>.
          </Caution>
        )}
      </section>
      <Facts
        facts={[
          ['sequence number', `${sequence_number}, in broadcast ${view.broadcast}`],
          ['manifest digest', <Digest hex={manifest_digest} />],
          ['units of the class', <a href={`/units?class=${name}`}>{count(units)}</a>],
          ['steered by', steered_by ?? 'nobody'],
          ...(view.condition ? [['installs only once', view.condition] as const] : []),
          ...(view.stepping_stones.length > 0
            ? [['stepping stones', `release ${view.stepping_stones.join(', then ')}`] as const]
            : []),
        ]}
      />
    </>
  );
}

/** Units of the class that no wave reaches. */
function Beyond({ view: { units, waves } }: { view: BroadcastView }) {
  const beyond = units - waves.reduce((sum, wave) => sum + wave.units, 0);
  return beyond > 0 ? (
    <p class="hint">{count(beyond)} units of the class are in no wave of this broadcast.</p>
  ) : null;
}

function Journal({ page }: { page: EventsPage | undefined }) {
  return (
    <section aria-labelledby="journal">
      <h2 id="journal">Journal</h2>
      <ol class="journal">
        {page?.events.map(({ number, at, who, text }) => (
          <li key={number}>
            <span class="soft">{moment(at)}</span> {sentence(text)} <span class="soft">{who}</span>
          </li>
        ))}
      </ol>
      {page?.next != null && <p class="hint">Only the last {page.events.length} entries are shown.</p>}
    </section>
  );
}

/** The broadcast as it stands, shown anew each time that it has changed. */
function useLive(id: string) {
  const [view, setView] = useState<BroadcastView>();
  const [problem, setProblem] = useState<Problem>();
  const [connected, setConnected] = useState(true);
  useEffect(
    () =>
      listen<BroadcastView>(`/broadcasts/${id}/live`, 'standing', {
        told: (shown) => {
          setView(shown);
          setConnected(true);
        },
        lost: () => setConnected(false),
        refused: setProblem,
      }),
    [id],
  );
  return { view, problem, connected };
}

import { useEffect, useState } from 'preact/hooks';
import { listen, type Problem } from '../api.ts';
import type { BroadcastListed, BroadcastView, EventsPage } from '../fleet-shapes.ts';
import { STATE_SAYS, UNIT_STATES } from '../fleet-shapes.ts';
import { BeginBroadcast } from '../parts/begin.tsx';
import { Now } from '../parts/broadcast-now.tsx';
import { Orders } from '../parts/order.tsx';
import { Mark } from '../parts/plot.tsx';
import { count, moment, sentence, Tell } from '../parts/tell.tsx';
import { WavePlot } from '../parts/wave.tsx';
import { choose, type Place } from '../router.ts';
import { useDocument } from '../use.ts';

/** How does the broadcast go? Its waves live, what comes next and when, and the orders that a person may give. */
export function BroadcastScreen({ place }: { place: Place }) {
  const { value, problem, again } = useDocument<{ broadcasts: readonly BroadcastListed[] }>('/broadcasts');
  const asked = place.query.get('broadcast');
  if (place.query.has('begin'))
    return <BeginBroadcast place={place} broadcasts={value?.broadcasts ?? []} begun={again} />;
  const id = asked ?? value?.broadcasts[0]?.broadcast.toString();
  return (
    <>
      <h1>How does the broadcast go?</h1>
      <Tell problem={problem} />
      {value?.broadcasts.length === 0 && <p>None yet. A release goes out in waves, by a plan.</p>}
      <p>
        <a href="/broadcast?begin=new">Begin a broadcast</a>
      </p>
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

import { useState } from 'preact/hooks';
import { post } from '../api.ts';
import type { BroadcastView } from '../fleet-shapes.ts';
import { useWork } from '../use.ts';
import { Caution, Tell } from './tell.tsx';

type Order = 'pause' | 'resume' | 'halt';

const POSSIBLE: Readonly<Record<BroadcastView['state'], readonly Order[]>> = {
  planned: ['halt'],
  running: ['pause', 'halt'],
  paused: ['resume', 'halt'],
  done: ['halt'],
  halted: [],
};

/** What follows from each order, said before it is given. */
const FOLLOWS: Readonly<Record<Order, (view: BroadcastView) => string>> = {
  pause: () =>
    'No unit is offered the release until somebody resumes. Units that have fetched it already may still install it; what runs goes on running.',
  resume: () =>
    'The release is offered again to the waves that are open. What was refused, fell back or fell silent up to now is taken down as known and stops nothing again; whatever comes beside it does.',
  halt: ({ release }) =>
    `It ends for good: ${release.version} is never offered again by this broadcast, also to units that wake up late. Units that took it keep it; the way back for them is the former image under a higher number.`,
};

/** Pause, resume, halt: by a person, with a reason that stands in the journal. */
export function Orders({ view, given }: { view: BroadcastView; given(): void }) {
  const [order, setOrder] = useState<Order>();
  const [why, setWhy] = useState('');
  const [typed, setTyped] = useState('');
  const work = useWork();
  const possible = POSSIBLE[view.state];
  const chosen = order && possible.includes(order) ? order : undefined;
  const name = view.class;
  const give = (asked: Order) =>
    work.run(async () => {
      await post(`/broadcasts/${view.broadcast}/orders`, { order: asked, why, revision: view.revision });
      setOrder(undefined);
      setWhy('');
      setTyped('');
      given();
    });
  if (possible.length === 0) return null;
  return (
    <section aria-labelledby="orders">
      <h2 id="orders">Step in</h2>
      <p class="row">
        {possible.map((each) => (
          <button
            key={each}
            type="button"
            class={each === 'halt' ? 'cut' : ''}
            aria-pressed={each === chosen}
            onClick={() => setOrder(each === chosen ? undefined : each)}
          >
            {each === 'halt' ? 'halt for good' : each}
          </button>
        ))}
      </p>
      {chosen && (
        <form
          class="act"
          onSubmit={(event) => {
            event.preventDefault();
            give(chosen);
          }}
        >
          <Caution>{FOLLOWS[chosen](view)}</Caution>
          {view.steered_by === null && (
            <Caution>
              Nobody steers this class now: what is ordered stands at once, and units hear of it as soon as
              somebody runs <code>fieldseal broadcast steer</code>.
            </Caution>
          )}
          <p class="row">
            <label>
              Why, for the journal
              <input required value={why} onInput={(event) => setWhy(event.currentTarget.value)} />
            </label>
            {chosen === 'halt' && (
              <label>
                Type {name} to confirm
                <input
                  value={typed}
                  autocomplete="off"
                  onInput={(event) => setTyped(event.currentTarget.value)}
                />
              </label>
            )}
            <button
              type="submit"
              class="main"
              disabled={work.busy || why.trim() === '' || (chosen === 'halt' && typed !== name)}
            >
              {chosen === 'halt'
                ? `Halt broadcast ${view.broadcast}`
                : `${chosen} broadcast ${view.broadcast}`}
            </button>
          </p>
          <Tell problem={work.problem} />
        </form>
      )}
    </section>
  );
}

import type { BroadcastView } from '../fleet-shapes.ts';
import { Caution, count, Digest, Facts, moment, sentence } from './tell.tsx';

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

/** How a broadcast stands, what comes next, and what is needed for it. */
export function Now({ view }: { view: BroadcastView }) {
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
        <Unsteered view={view} />
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

/** Without steering nothing happens: what it means now, and the command. */
function Unsteered({ view: { steered_by, state, waves, class: name, depot } }: { view: BroadcastView }) {
  if (steered_by !== null || (state !== 'running' && state !== 'done')) return null;
  const untold = waves.every((wave) => wave.state === 'planned');
  return (
    <Caution>
      {untold
        ? 'Nobody steers this class now, and nothing is announced until somebody does: no unit has heard of this release yet. '
        : 'Nobody steers this class now, so nothing of it happens by itself. '}
      Run{' '}
      <code>
        fieldseal broadcast steer {name} --depot {depot ?? 'DIR'}
      </code>
      {depot === null ? ', with the depot that it was begun with.' : ' where the desk runs, as a service.'}
    </Caution>
  );
}

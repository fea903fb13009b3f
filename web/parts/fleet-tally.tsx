import { type FleetShown, STATE_SAYS, UNIT_STATES } from '../fleet-shapes.ts';
import { Mark, PerMark, Plot } from './plot.tsx';
import { count } from './tell.tsx';

/** All units by state, as a plot and in numbers; each number leads to its units. */
export function FleetTally({ fleet: { units, by_state, by_version } }: { fleet: FleetShown }) {
  const [most] = by_version;
  return (
    <section aria-labelledby="all">
      <h2 id="all">
        {count(units)} units{' '}
        <small>
          <PerMark units={units} />
        </small>
      </h2>
      <Plot units={units} states={by_state} label="All units" />
      <ul class="legend">
        {UNIT_STATES.filter((state) => (by_state[state] ?? 0) > 0).map((state) => (
          <li key={state}>
            <Mark state={state} /> <a href={`/units?state=${state}`}>{count(by_state[state]!)}</a>{' '}
            {STATE_SAYS[state]}
          </li>
        ))}
      </ul>
      {most && (
        <p class="hint">
          {most.version === null
            ? `Of ${count(most.units)} it is not known what they run.`
            : `Most run ${most.version}: ${count(most.units)}.`}
        </p>
      )}
    </section>
  );
}

import type { ComponentChildren } from 'preact';
import type { BroadcastView, ByState, WaveShown } from '../fleet-shapes.ts';
import { Bar } from './bar.tsx';
import { inWords, PerMark, Plot } from './plot.tsx';
import { count, Facts, lasting, moment, sentence, share } from './tell.tsx';

const STATE = {
  planned: 'not open yet',
  open: 'open',
  soaking: 'succeeded, still watched',
  passed: 'passed',
  stopped: 'stopped',
} as const;

interface Props {
  readonly wave: WaveShown;
  readonly view: BroadcastView;
  /** Whether this is the wave that the broadcast stands at. */
  readonly current: boolean;
}

/** One wave: its units by state, how far it is from its success, and from each of its stops. */
export function WavePlot({ wave, view, current }: Props) {
  const { number, name, share: permille, named, state, why, opened, since, units } = wave;
  const unitsOf = `/units?broadcast=${view.broadcast}&wave=${number}`;
  const states = statesOf(wave);
  return (
    <li class={`wave ${state}`} aria-current={current ? 'step' : undefined}>
      <h3>
        {number}. {name} <span class="state">{STATE[state]}</span>{' '}
        <small>
          {permille === null ? `${count(named)} units by name` : `up to ${permille} of a thousand, by lot`}
        </small>
      </h3>
      {units > 0 ? (
        <>
          <Plot units={units} states={states} label={`Wave ${name}`} />
          <p>
            <a href={unitsOf}>{count(units)} units</a>: {inWords(states)}{' '}
            <span class="soft">
              (<PerMark units={units} />)
            </span>
          </p>
        </>
      ) : (
        <p>No unit is in it.</p>
      )}
      {why && <p class={state === 'stopped' ? 'notice refused' : 'hint'}>{sentence(why)}</p>}
      <details open={state === 'open' || state === 'soaking' || state === 'stopped'}>
        <summary>What it must come to, and what stops it</summary>
        <Facts
          facts={[
            ...(opened ? [['opened', moment(opened)] as const] : []),
            ...(since && since !== opened ? [[`${STATE[state]} since`, moment(since)] as const] : []),
            ...rulesTold(wave),
          ]}
        />
      </details>
      {wave.refusals.length > 0 && <Refusals wave={wave} steps={view.steps} unitsOf={unitsOf} />}
    </li>
  );
}

function statesOf({ kept, on_trial, reached, waiting, refused, fell_back }: WaveShown): ByState {
  return { kept, 'on-trial': on_trial, reached, waiting, refused, 'fell-back': fell_back };
}

/** What it must come to, and what stops it, with how far it is. */
function rulesTold(wave: WaveShown): (readonly [string, ComponentChildren])[] {
  const { units, kept, refused, fell_back, silent, known, rules } = wave;
  const { stop } = rules;
  const answered = kept + refused + fell_back;
  return [
    [
      'to succeed',
      <Towards key="success" now={kept} of={units} at={rules.success}>
        {share(kept, units)} kept it; {rules.success} of a thousand must, within {lasting(rules.within_s)}.
        Then it is watched for {lasting(rules.soak_s)}
      </Towards>,
    ],
    ['refused', limitSays(refused, answered, stop.refused, known.refused, 'that answered')],
    ['fell back', limitSays(fell_back, answered, stop.fell_back, known.fell_back, 'that answered')],
    [
      `silent for ${lasting(rules.silence_s)}`,
      limitSays(silent, units, stop.silent, known.silent, 'of the wave'),
    ],
  ];
}

/** A bar towards a goal, with the goal marked on it. */
function Towards({
  now,
  of,
  at,
  children,
}: {
  now: number;
  of: number;
  at: number;
  children: ComponentChildren;
}) {
  const permille = of === 0 ? 0 : (1000 * now) / of;
  return (
    <>
      <svg class="towards" viewBox="0 0 1000 40" preserveAspectRatio="none" aria-hidden="true">
        <rect class="ground" width="1000" height="40" />
        <rect class="long" y="8" width={permille} height="24" />
        <rect class="goal" x={Math.min(at, 996)} width="4" height="40" />
      </svg>
      {children}
    </>
  );
}

function limitSays(
  n: number,
  of: number,
  limit: { share: number; least: number },
  known: number,
  whom: string,
): string {
  const before = known > 0 ? `, ${count(known)} of them known when it was resumed` : '';
  return `${share(n, of)} ${whom}${before}; it stops above ${limit.share} of a thousand and at least ${limit.least}`;
}

/** Refusals by the step at which they fell, in the order of the steps. */
function Refusals({ wave, steps, unitsOf }: { wave: WaveShown; steps: readonly string[]; unitsOf: string }) {
  const most = Math.max(...wave.refusals.map(({ units }) => units));
  const ordered = [...wave.refusals].sort(
    (a, b) => steps.indexOf(a.step) - steps.indexOf(b.step) || b.units - a.units,
  );
  return (
    <div class="wide">
      <table>
        <caption>Refusals by step</caption>
        <thead>
          <tr>
            <th scope="col">step</th>
            <th scope="col">refusal</th>
            <th scope="col">units</th>
          </tr>
        </thead>
        <tbody>
          {ordered.map(({ step, code, units }) => (
            <tr key={code}>
              <th scope="row">
                {steps.indexOf(step) + 1} {step}
              </th>
              <td>
                <code>{code}</code>
              </td>
              <td>
                <a href={`${unitsOf}&refusal=${code}`}>{count(units)}</a>{' '}
                <Bar share={units / most} kind="amiss" beside />
              </td>
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

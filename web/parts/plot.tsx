import { useEffect, useState } from 'preact/hooks';
import { type ByState, STATE_SAYS, UNIT_STATES, type UnitState } from '../fleet-shapes.ts';
import { count } from './tell.tsx';

/** Rows of a plot, and marks in a row of it. */
const ROWS = 5;
const ROW = { wide: 60, narrow: 30 };
const CELL = 10;
const NARROW = '(max-width: 40rem)';

/**
 * Units by state as a plot of marks, each for as many units as the plot says. States differ by shape, not by colour alone; a state
 * that has any unit has a mark.
 */
export function Plot({ units, states, label }: { units: number; states: ByState; label: string }) {
  const row = useRow();
  const per = unitsPerMark(units, row);
  const marks = UNIT_STATES.flatMap((state) => {
    const n = states[state] ?? 0;
    return Array<UnitState>(n === 0 ? 0 : Math.max(1, Math.round(n / per))).fill(state);
  });
  const rows = Math.max(1, Math.ceil(marks.length / row));
  return (
    <svg
      class="plot"
      role="img"
      aria-label={`${label}: ${inWords(states)}`}
      viewBox={`0 0 ${row * CELL} ${rows * CELL}`}
    >
      {UNIT_STATES.map((state) => {
        const d = marks
          .map((each, i) => (each === state ? shapeAt(state, i % row, Math.floor(i / row)) : ''))
          .join('');
        return d === '' ? null : <path key={state} class={`mark-${state}`} d={d} />;
      })}
    </svg>
  );
}

/** How many units a mark of such a plot stands for, in words. */
export function PerMark({ units }: { units: number }) {
  const per = unitsPerMark(units, useRow());
  return (
    <>
      {per === 1
        ? 'one mark for each unit'
        : `one mark for each ${count(per)} units, and at least one for each state`}
    </>
  );
}

function unitsPerMark(units: number, row: number): number {
  return Math.max(1, Math.ceil(units / (ROWS * row)));
}

/** Marks in a row: fewer and larger ones on a narrow screen. */
function useRow(): number {
  const [narrow, setNarrow] = useState(() => matchMedia(NARROW).matches);
  useEffect(() => {
    const media = matchMedia(NARROW);
    const follow = () => setNarrow(media.matches);
    media.addEventListener('change', follow);
    return () => media.removeEventListener('change', follow);
  }, []);
  return narrow ? ROW.narrow : ROW.wide;
}

/** The mark of a state, as a legend shows it. */
export function Mark({ state }: { state: UnitState }) {
  return (
    <svg class="plot one" aria-hidden="true" viewBox={`0 0 ${CELL} ${CELL}`}>
      <path class={`mark-${state}`} d={shapeAt(state, 0, 0)} />
    </svg>
  );
}

/** The states that any unit is in, with their numbers. */
export function inWords(states: ByState): string {
  const told = UNIT_STATES.filter((state) => (states[state] ?? 0) > 0);
  return told.map((state) => `${count(states[state]!)} ${STATE_SAYS[state]}`).join(', ') || 'no units';
}

/** Full for what is done, half for what is on trial, open for what is awaited; crossed or pointing down for what failed. */
const SHAPES: Readonly<Record<UnitState, string>> = {
  kept: 'm1 1h8v8h-8z',
  'on-trial': 'm1 1h8v8h-8z m1.2 1.2v2.6h5.6v-2.6z',
  reached: 'm1 1h8v8h-8z m1.2 1.2v5.6h5.6v-5.6z',
  waiting: 'm4 4h2v2h-2z',
  unheard: 'm1 8h8v1h-8z',
  refused: 'm2 1 3 3 3-3 1 1-3 3 3 3-1 1-3-3-3 3-1-1 3-3-3-3z',
  'fell-back': 'm0.5 2h9l-4.5 7z',
};

function shapeAt(state: UnitState, column: number, row: number): string {
  return `M${column * CELL} ${row * CELL}${SHAPES[state]}`;
}

import type { DrawnRegion, Stroke } from '../shapes.ts';
import { address, bytes } from './tell.tsx';

const CELL = 10;
const HEIGHT = 22;

interface Props {
  readonly regions: readonly DrawnRegion[];
  /** State of each region that has one, by name. */
  readonly states: ReadonlyMap<string, string>;
  /** The stroke under way, and those before it. */
  readonly strokes?: readonly Stroke[];
  /** Regions that can be chosen, by name, and what happens then. */
  readonly choice?: Choice;
}

interface Choice {
  readonly names: ReadonlySet<string>;
  readonly chosen: string | undefined;
  choose(region: DrawnRegion): void;
}

/** A unit's flash: a row for each region, a cell for each stretch of it, darker where more is programmed. */
export function Flash({ regions, states, strokes = [], choice }: Props) {
  return (
    <ul class="flash">
      {regions.map((region) => (
        <li key={region.name}>
          <p>
            <Name region={region} choice={choice} /> {address(region.address)}, {bytes(region.size)}
            {states.get(region.name) && <span class="state">{states.get(region.name)}</span>}
          </p>
          <svg
            viewBox={`0 0 ${region.cells.length * CELL} ${HEIGHT}`}
            preserveAspectRatio="none"
            role="img"
            aria-label={`${region.name}: ${filled(region.cells)} percent programmed`}
          >
            {[...region.cells].map((shade, i) => (
              <rect
                key={`${region.name}-${i}`}
                class={`shade shade-${shade}`}
                x={i * CELL}
                y={2}
                width={CELL - 1}
                height={HEIGHT - 4}
              />
            ))}
            {strokes.map((stroke) => drawn(region, stroke))}
          </svg>
        </li>
      ))}
    </ul>
  );
}

function Name({ region, choice }: { region: DrawnRegion; choice: Choice | undefined }) {
  if (!choice?.names.has(region.name)) return <strong>{region.name}</strong>;
  return (
    <button
      type="button"
      class="region"
      aria-pressed={choice.chosen === region.name}
      onClick={() => choice.choose(region)}
    >
      {region.name}
    </button>
  );
}

function drawn(region: DrawnRegion, { kind, offset, length, before }: Stroke) {
  if (offset < region.offset || offset >= region.offset + region.size) return null;
  const scale = (region.cells.length * CELL) / region.size;
  return (
    <rect
      key={before}
      class={`stroke ${kind}`}
      x={(offset - region.offset) * scale}
      y={kind === 'erase' ? 0 : 5}
      width={Math.max(1.5, length * scale)}
      height={kind === 'erase' ? HEIGHT : HEIGHT - 10}
    />
  );
}

function filled(cells: string): number {
  const sum = [...cells].reduce((total, shade) => total + Number(shade), 0);
  return Math.round((100 * sum) / (9 * cells.length));
}

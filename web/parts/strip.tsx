import { useRef } from 'preact/hooks';
import type { RegionShown } from '../shapes.ts';
import { bytes } from './tell.tsx';

interface Props {
  readonly begin: number;
  readonly length: number;
  readonly parts: readonly RegionShown[];
  readonly chosen: RegionShown | undefined;
  readonly label: string;
  choose(part: RegionShown): void;
  /** Called for a step back up. */
  leave(): void;
}

/** Parts narrower than this share of a strip are drawn wider, so that a finger finds them; the strip then says so. */
const NARROWEST = 0.012;

/**
 * A stretch of a file, drawn to scale: each part is as wide as it has bytes. Arrow keys move along the strip, Enter or
 * arrow down opens a part, arrow up goes back.
 */
export function Strip({ begin, length, parts, chosen, label, choose, leave }: Props) {
  const list = useRef<HTMLOListElement>(null);
  const narrow = parts.filter((part) => part.length / length < NARROWEST).length;
  const focus = (index: number) => list.current?.querySelectorAll('button')[index]?.focus();
  const move = (event: KeyboardEvent, index: number) => {
    const to = { ArrowRight: index + 1, ArrowLeft: index - 1, Home: 0, End: parts.length - 1 }[event.key];
    if (to !== undefined) focus(to);
    else if (event.key === 'ArrowDown') choose(parts[index]!);
    else if (event.key === 'ArrowUp') leave();
    else return;
    event.preventDefault();
  };
  return (
    <div class="strip">
      <p class="scale">
        <span>{begin}</span>
        <span>
          {label}, {bytes(length)}
          {narrow > 0 && narrow < parts.length && `; ${narrow} narrow parts are drawn wider than they are`}
        </span>
        <span>{begin + length}</span>
      </p>
      <ol ref={list} aria-label={label}>
        {parts.map((part, index) => (
          <li key={part.offset} style={{ flexGrow: Math.max(part.length / length, NARROWEST) * 1000 }}>
            <button
              type="button"
              class={classOf(part, index)}
              aria-pressed={part === chosen}
              tabIndex={part === chosen || (!chosen && index === 0) ? 0 : -1}
              title={`${part.title}: ${part.length} bytes at ${part.offset}`}
              onClick={() => choose(part)}
              onKeyDown={(event) => move(event, index)}
            >
              <span>{part.title}</span>
            </button>
          </li>
        ))}
      </ol>
    </div>
  );
}

function classOf({ problem, children }: RegionShown, index: number): string {
  if (problem !== undefined) return 'part faulty';
  return `part ${children ? 'holds' : 'leaf'} tone-${index % 2}`;
}

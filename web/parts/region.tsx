import { useState } from 'preact/hooks';
import type { Play } from '../shapes.ts';
import { Flash } from './flash.tsx';
import { address } from './tell.tsx';

/** A part of a unit's memory: by name, or by address and bytes. */
export type RegionAsked =
  | { readonly name: string }
  | { readonly address: number; readonly size_bytes: number };

interface Props {
  readonly play: Play;
  readonly region: RegionAsked;
  choose(region: RegionAsked): void;
}

/** The memory of a unit by address; what holds code can be chosen, whole or a stretch of it. */
export function ChooseRegion({ play, region, choose }: Props) {
  const areas = codeAreas(play);
  const states = new Map(play.shown.slots.map(({ name, state }) => [`slot ${name}`, state]));
  const chosen = 'name' in region ? [...areas].find(([, name]) => name === region.name)?.[0] : undefined;
  return (
    <>
      <p class="row">
        <button
          type="button"
          class="region"
          aria-pressed={'name' in region && region.name === 'running'}
          onClick={() => choose({ name: 'running' })}
        >
          what runs
        </button>
        <span>{says(region, chosen)}</span>
      </p>
      <Flash
        regions={play.flash}
        states={states}
        choice={{
          names: new Set(areas.keys()),
          chosen,
          choose: ({ name }) => choose({ name: areas.get(name)! }),
        }}
      />
      <Stretch play={play} choose={choose} />
    </>
  );
}

/** A stretch by address: whole erase pages. */
function Stretch({ play, choose }: Pick<Props, 'play' | 'choose'>) {
  const page = play.memory.flash.erase_page;
  const [from, setFrom] = useState(address(play.flash[0]!.address));
  const [pages, setPages] = useState('1');
  return (
    <form
      class="row"
      onSubmit={(event) => {
        event.preventDefault();
        choose({ address: Number(from), size_bytes: page * Number(pages) });
      }}
    >
      <label>
        Or from the address
        <input
          value={from}
          pattern="0x[0-9a-fA-F]+"
          required
          onInput={(e) => setFrom(e.currentTarget.value)}
        />
      </label>
      <label>
        Erase pages of {page} bytes
        <input
          type="number"
          min="1"
          value={pages}
          required
          onInput={(e) => setPages(e.currentTarget.value)}
        />
      </label>
      <button type="submit">Choose that stretch</button>
    </form>
  );
}

/** Areas that hold code, by the name they are drawn under. */
function codeAreas({ memory, flash }: Play): ReadonlyMap<string, string> {
  const slots = memory.shape === 'staged' ? memory.slots.slice(0, 1) : memory.slots;
  const named = new Map(slots.map(({ name }) => [`slot ${name}`, name]));
  if (flash.some(({ name }) => name === 'recovery')) named.set('recovery', 'recovery');
  return named;
}

function says(region: RegionAsked, chosen: string | undefined): string {
  if ('address' in region)
    return `It is asked for ${region.size_bytes} bytes from ${address(region.address)}.`;
  return region.name === 'running'
    ? 'It is asked for the whole area that runs.'
    : `It is asked for the whole of ${chosen ?? region.name}.`;
}

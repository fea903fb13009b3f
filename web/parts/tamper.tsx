import { useState } from 'preact/hooks';
import { post } from '../api.ts';
import type { Play } from '../shapes.ts';
import { useWork } from '../use.ts';
import { address, Tell } from './tell.tsx';

const INTO_THE_CODE = 0x400;

/** Changes the copy of a unit behind its back, in the code that runs or anywhere else in its flash. */
export function Tamper({ play, moved }: { play: Play; moved(play: Play): void }) {
  const running = play.flash.find(
    ({ name }) => name === `slot ${play.shown.running}` || name === play.shown.running,
  );
  const [typed, setTyped] = useState<string>();
  const [told, setTold] = useState<string>();
  const work = useWork();
  const at = typed ?? address((running ?? play.flash[0]!).address + INTO_THE_CODE);
  const flip = () =>
    work.run(async () => {
      moved(await post<Play>(`/plays/${play.play}/changes`, { address: Number(at) }));
      setTold(`The lowest bit at ${at} is flipped. Challenge the unit again.`);
    });
  return (
    <section aria-labelledby="tamper">
      <h2 id="tamper">Tamper with the copy</h2>
      <form
        class="row"
        onSubmit={(event) => {
          event.preventDefault();
          flip();
        }}
      >
        <label>
          Address in its flash
          <input
            value={at}
            pattern="0x[0-9a-fA-F]+"
            required
            onInput={(event) => setTyped(event.currentTarget.value)}
          />
        </label>
        <button type="submit" class="cut" disabled={work.busy}>
          Flip one bit there
        </button>
      </form>
      <p class="says" aria-live="polite">
        {told}
      </p>
      <p class="hint">
        As somebody with a probe would, past the unit. The same address twice puts it back as it was. The unit
        file itself is never touched.
      </p>
      <Tell problem={work.problem} />
    </section>
  );
}

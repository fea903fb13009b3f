import { useEffect, useRef, useState } from 'preact/hooks';
import { type DeskFile, post } from '../api.ts';
import type { Play, PlayOutcome } from '../shapes.ts';
import { useWork } from '../use.ts';
import { Flash } from './flash.tsx';
import { Refused } from './steps.tsx';
import { Tell } from './tell.tsx';

interface Props {
  readonly play: Play;
  readonly envelope: DeskFile;
  readonly image: DeskFile | undefined;
  moved(play: Play): void;
}

/** Milliseconds that an install is drawn for, whatever it takes on a part. */
const DRAWN_FOR = 6000;
const FRAME = 60;

/** An install on emulated flash, drawn as it goes; the power can be cut at any moment of it. */
export function Playground({ play, envelope, image, moved }: Props) {
  const [foreseen, setForeseen] = useState<PlayOutcome>();
  const [done, setDone] = useState(0);
  const [told, setTold] = useState<{ says: string; outcome: PlayOutcome }>();
  const work = useWork();
  const offer = { file: envelope.id, ...(image && { image: image.id }) };
  const act = (says: (outcome: PlayOutcome) => string, body: object) =>
    work.run(async () => {
      const outcome = await post<PlayOutcome>(`/plays/${play.play}/acts`, body);
      setForeseen(undefined);
      setTold({ says: says(outcome), outcome });
      moved(outcome.unit);
    });
  const finish = () => act(installSays, { act: 'install', ...offer });
  const cut = () => act(installSays, { act: 'install', ...offer, cut: { after: done, kind: 'middle' } });
  useRunning(foreseen, setDone, finish);
  const begin = () =>
    work.run(async () => {
      const outcome = await post<PlayOutcome>(`/plays/${play.play}/acts`, {
        act: 'install',
        ...offer,
        trial: true,
      });
      setTold(undefined);
      setDone(0);
      if (outcome.strokes.length > 0) setForeseen(outcome);
      else setTold({ says: installSays(outcome), outcome });
    });
  const states = new Map(play.shown.slots.map(({ name, state }) => [`slot ${name}`, state]));
  return (
    <section aria-labelledby="install">
      <h2 id="install">Install it, and cut the power</h2>
      <p class="row">
        <button type="button" disabled={work.busy || foreseen !== undefined} onClick={begin}>
          Install
        </button>
        <button type="button" class="cut" disabled={!foreseen || work.busy} onClick={cut}>
          Cut the power now
        </button>
        <button
          type="button"
          disabled={work.busy || foreseen !== undefined}
          onClick={() => act(startSays, { act: 'start' })}
        >
          Start the unit
        </button>
        <button
          type="button"
          disabled={work.busy || foreseen !== undefined || play.shown.running === null}
          onClick={() => act(keepSays, { act: 'keep' })}
        >
          Self-test passed: keep
        </button>
      </p>
      {foreseen && (
        <p>
          <progress value={done} max={foreseen.operations} /> flash operation {done} of {foreseen.operations}
        </p>
      )}
      <Tell problem={work.problem} />
      <p class="says" aria-live="polite">
        {told?.says}
      </p>
      {told?.outcome.refusal && <Refused refusal={told.outcome.refusal} />}
      <Flash
        regions={play.flash}
        states={states}
        strokes={foreseen?.strokes.filter(({ before }) => before <= done) ?? []}
      />
      <p class="hint">
        Darker cells hold more programmed bytes. While it installs, tall marks are erased pages, low ones
        programmed units.
      </p>
    </section>
  );
}

/** Runs the drawing of a foreseen install, operation by operation, to its end. */
function useRunning(foreseen: PlayOutcome | undefined, at: (done: number) => void, end: () => void): void {
  const ended = useRef(end);
  ended.current = end;
  useEffect(() => {
    if (!foreseen) return;
    const begin = performance.now();
    const timer = setInterval(() => {
      const done = Math.floor(((performance.now() - begin) / DRAWN_FOR) * foreseen.operations);
      at(Math.min(done, foreseen.operations));
      if (done < foreseen.operations) return;
      clearInterval(timer);
      ended.current();
    }, FRAME);
    return () => clearInterval(timer);
  }, [foreseen]);
}

function installSays({ cut, cut_at, verdict }: PlayOutcome): string {
  if (cut) return `The power went at flash operation ${cut_at}. Start the unit: what runs now?`;
  if (verdict === 'accepted') return 'Installed: the slot is ready. Start the unit, and it runs on trial.';
  return 'Not installed.';
}

function startSays({ started }: PlayOutcome): string {
  if (!started) return 'Nothing starts.';
  const what = started.version === null ? 'the recovery image' : `version ${started.version}`;
  return `It runs ${what}, slot ${started.slot}, ${started.state}.`;
}

function keepSays({ verdict }: PlayOutcome): string {
  return verdict === 'accepted' ? 'Kept: the floors have risen.' : 'Not kept.';
}

import { useEffect, useState } from 'preact/hooks';
import { post } from '../api.ts';
import { useNamedFile, useNamedUnit } from '../named.ts';
import { ChooseUnit } from '../parts/choose-unit.tsx';
import { Drop } from '../parts/drop.tsx';
import { Playground } from '../parts/playground.tsx';
import { Refused, Steps } from '../parts/steps.tsx';
import { Tell } from '../parts/tell.tsx';
import { choose, type Place } from '../router.ts';
import type { RefusalShown, Standing, StepShown } from '../shapes.ts';
import { useDocument, useWork } from '../use.ts';

interface Verdict {
  readonly verdict: string;
  readonly refusal: RefusalShown | null;
  readonly steps: readonly StepShown[];
  readonly asks: Readonly<Record<string, string>>;
  readonly facts: {
    readonly effect?: string;
    readonly version?: string | null;
    readonly warnings?: readonly string[];
  };
}

/** What no longer holds once another unit is asked, or something else is offered. */
const UNASKED = { asked: undefined };

/** What would a unit say? The decision step by step, and then the install itself, with the power cut at will. */
export function Ask({ place }: { place: Place }) {
  const className = place.query.get('class') ?? '';
  const unit = useNamedUnit(place);
  const envelope = useNamedFile(place, 'envelope', ['asked']);
  const image = useNamedFile(place, 'image', ['asked']);
  const { play } = unit;
  const judge = className === '' ? play && { play: play.play } : { class: className };
  const offer = envelope.file && {
    file: envelope.file.id,
    ...(image.file && { image: image.file.id }),
  };
  const { verdict, problem, ask } = useVerdict(place, judge, offer);
  return (
    <>
      <h1>What would a unit say?</h1>
      <div class="two">
        <div>
          <ChooseUnit place={place} unit={unit} clears={{ ...UNASKED, class: undefined }} />
          <ChooseClass className={className} />
        </div>
        <section aria-labelledby="offered">
          <h2 id="offered">What it is offered</h2>
          <Drop label="Envelope" {...envelope} />
          <Drop
            label="Image beside it"
            hint="Only for an envelope that was sealed without its image."
            {...image}
          />
          <button type="button" class="main" disabled={!judge || !offer} onClick={ask}>
            Ask the unit
          </button>
          <Tell problem={problem} />
        </section>
      </div>
      {verdict && <Answer verdict={verdict} />}
      {play && envelope.file && verdict && (
        <Playground
          key={play.play}
          play={play}
          envelope={envelope.file}
          image={image.file}
          moved={unit.moved}
        />
      )}
    </>
  );
}

/** Asks as soon as the address says that it was asked, and there is somebody to answer. */
function useVerdict(place: Place, judge: object | undefined, offer: object | undefined) {
  const [verdict, setVerdict] = useState<Verdict>();
  const [round, setRound] = useState(0);
  const work = useWork();
  const order = judge && offer && { ...judge, ...offer };
  const asked = place.query.get('asked') !== null && order ? JSON.stringify(order) : undefined;
  useEffect(() => {
    setVerdict(undefined);
    work.clear();
    if (asked === undefined) return;
    let wanted = true;
    work.run(async () => {
      const answer = await post<Verdict>('/checks', order);
      if (wanted) setVerdict(answer);
    });
    return () => {
      wanted = false;
    };
  }, [asked, round]);
  const ask = () => {
    if (asked === undefined) choose({ asked: 'yes' });
    else setRound((n) => n + 1);
  };
  return { verdict, problem: work.problem, ask };
}

/** A unit of a class as production would leave it today: for a question, no file is needed. */
function ChooseClass({ className }: { className: string }) {
  const standing = useDocument<Standing>('/standing');
  return (
    <label>
      Or any new unit of a class
      <select
        value={className}
        onChange={({ currentTarget: { value } }) =>
          choose({ ...UNASKED, unit: undefined, 'unit-file': undefined, class: value })
        }
      >
        <option value="">choose one</option>
        {standing.value?.classes.map(({ name }) => (
          <option key={name} value={name} selected={name === className}>
            {name}
          </option>
        ))}
      </select>
    </label>
  );
}

function Answer({ verdict: { verdict, refusal, steps, asks, facts } }: { verdict: Verdict }) {
  return (
    <section aria-labelledby="answer" aria-live="polite">
      <h2 id="answer" class={`answer ${verdict}`}>
        {verdict === 'accepted'
          ? `It would accept: ${facts.effect ?? 'authentic'}`
          : verdict === 'refused'
            ? `It would refuse, at step ${steps.find(({ step }) => step === refusal?.step)?.number}: nothing is programmed`
            : 'Incomplete: nothing is refuted, but something is absent'}
      </h2>
      {refusal && <Refused refusal={refusal} />}
      {facts.warnings?.map((warning) => (
        <p class="notice caution" key={warning}>
          {warning}
        </p>
      ))}
      <Steps steps={steps.map((step) => ({ ...step, asks: asks[step.step] ?? '' }))} refusal={null} />
    </section>
  );
}

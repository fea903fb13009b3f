import { useState } from 'preact/hooks';
import { type DeskFile, post } from '../api.ts';
import { ChooseUnit } from '../parts/choose-unit.tsx';
import { Drop } from '../parts/drop.tsx';
import { Playground } from '../parts/playground.tsx';
import { Refused, Steps } from '../parts/steps.tsx';
import { Tell } from '../parts/tell.tsx';
import type { Play, RefusalShown, StepShown } from '../shapes.ts';
import { useWork } from '../use.ts';

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

/** What would a unit say? The decision step by step, and then the install itself, with the power cut at will. */
export function Ask() {
  const [play, setPlay] = useState<Play>();
  const [envelope, setEnvelope] = useState<DeskFile>();
  const [image, setImage] = useState<DeskFile>();
  const [verdict, setVerdict] = useState<Verdict>();
  const work = useWork();
  const ask = () =>
    work.run(async () =>
      setVerdict(
        await post('/checks', { play: play!.play, file: envelope!.id, ...(image && { image: image.id }) }),
      ),
    );
  return (
    <>
      <h1>What would a unit say?</h1>
      <div class="two">
        <ChooseUnit
          play={play}
          chosen={(chosen) => {
            setPlay(chosen);
            setVerdict(undefined);
          }}
        />
        <section aria-labelledby="offered">
          <h2 id="offered">What it is offered</h2>
          <Drop
            label="Envelope"
            file={envelope}
            taken={(file) => {
              setEnvelope(file);
              setVerdict(undefined);
            }}
          />
          <Drop
            label="Image beside it"
            hint="Only for an envelope that was sealed without its image."
            file={image}
            taken={(file) => {
              setImage(file);
              setVerdict(undefined);
            }}
          />
          <button type="button" class="main" disabled={!play || !envelope || work.busy} onClick={ask}>
            Ask the unit
          </button>
          <Tell problem={work.problem} />
        </section>
      </div>
      {verdict && <Answer verdict={verdict} />}
      {play && envelope && verdict && (
        <Playground key={play.play} play={play} envelope={envelope} image={image} moved={setPlay} />
      )}
    </>
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

import { useState } from 'preact/hooks';
import type { BroadcastListed, PlanJudgement } from '../fleet-shapes.ts';
import { useNamedFile, useNamedFiles } from '../named.ts';
import { usePlan } from '../plan-in-hand.ts';
import { choose, type Place } from '../router.ts';
import type { ReleaseShown, Standing } from '../shapes.ts';
import { useDocument } from '../use.ts';
import { BeginConfirmed } from './begin-confirmed.tsx';
import { ChooseClass } from './choose-class.tsx';
import { Drop } from './drop.tsx';
import { DropSeveral } from './drop-several.tsx';
import { PlanMaker } from './plan-maker.tsx';
import { Caution, moment, Tell } from './tell.tsx';

interface Props {
  readonly place: Place;
  readonly broadcasts: readonly BroadcastListed[];
  begun(): void;
}

/** Begin a broadcast: a class, what is sent, the plan of its waves, what that comes to, and then the word. */
export function BeginBroadcast({ place, broadcasts, begun }: Props) {
  const standing = useDocument<Standing>('/standing');
  const className = place.query.get('class') ?? '';
  const underWay = broadcasts.find(
    (each) => each.class === className && each.state !== 'done' && each.state !== 'halted',
  );
  return (
    <>
      <h1>How does the broadcast go?</h1>
      <h2>Begin a broadcast</h2>
      <p>
        A release goes to a class wave by wave, the pilot first. Nothing happens before the plan was judged
        against the fleet and you gave your word below. <a href="/broadcast">Those that were begun</a>
      </p>
      <Tell problem={standing.problem} />
      <ChooseClass standing={standing.value} chosen={className} choose={(name) => choose({ class: name })} />
      {underWay && (
        <Caution>
          Broadcast {underWay.broadcast} to {className} is {underWay.state}. One at a time goes to a class:
          let it end, or halt it for good, before another begins.
        </Caution>
      )}
      {className !== '' && (
        <ForClass
          key={className}
          className={className}
          standing={standing.value}
          place={place}
          begun={begun}
        />
      )}
    </>
  );
}

type OfClass = Pick<Props, 'place' | 'begun'> & {
  readonly className: string;
  readonly standing: Standing | undefined;
};

function ForClass({ className, standing, place, begun }: OfClass) {
  const payload = useNamedFile(place, 'payload');
  const images = useNamedFiles(place, 'images');
  const stones = useNamedFiles(place, 'stepping-stones');
  const plan = usePlan(className);
  const sealed = standing?.releases.find(({ envelopes }) =>
    envelopes.some(({ sha256 }) => sha256 === payload.file?.sha256),
  );
  const [judged, setJudged] = useState<{ text: string; sent: string; judgement: PlanJudgement }>();
  const sent = {
    file: payload.file?.id,
    images: images.files.map(({ id }) => id),
    stepping_stones: stones.files.map(({ id }) => id),
  };
  const wasJudged = judged !== undefined && judged.text === plan.text;
  const judgement = wasJudged && judged.sent === JSON.stringify(sent) ? judged.judgement : undefined;
  const named = (wasJudged && judged.judgement.stepping_stones) || [];
  const wantsStones = named.length > 0 || stones.files.length > 0;
  return (
    <>
      <section aria-labelledby="sent">
        <h3 id="sent">What is sent</h3>
        <div class="two">
          <Drop
            label="Payload"
            hint="The envelope, as it was sealed for this class, or the encrypted message made of it."
            {...payload}
          />
          <DropSeveral
            label="Images beside it"
            hint="Only where an image lies beside its envelope."
            named={images}
          />
        </div>
        {sealed && <WhatItIs className={className} sealed={sealed} />}
      </section>
      <PlanMaker
        className={className}
        plan={plan}
        sent={sent}
        judgement={judgement}
        wasJudged={wasJudged}
        judged={(text, files, found) => setJudged({ text, sent: JSON.stringify(files), judgement: found })}
      />
      {wantsStones && (
        <DropSeveral
          label="Stepping stones"
          hint={`The envelope of each that the plan names: ${named.join(', ') || 'none'}.`}
          named={stones}
        />
      )}
      {judgement && !judgement.refused && (
        <BeginConfirmed
          className={className}
          plan={plan}
          payload={payload.file}
          images={images.files}
          stones={stones.files}
          begun={begun}
        />
      )}
    </>
  );
}

/** The payload by its record, where it is one of the last releases. */
function WhatItIs({ className, sealed }: { className: string; sealed: ReleaseShown }) {
  const { version, sequence_number, sealed: at } = sealed;
  const says = `It is ${sealed.class} ${version}, sequence number ${sequence_number}, sealed ${moment(at)}.`;
  if (sealed.class === className) return <p>{says}</p>;
  return (
    <Caution>
      {says} Units of {className} would refuse it.
    </Caution>
  );
}

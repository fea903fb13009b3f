import { useState } from 'preact/hooks';
import { type DeskFile, post } from '../api.ts';
import { useNamedFile, useNamedUnit } from '../named.ts';
import { Appraised } from '../parts/appraisal.tsx';
import { ChooseUnit } from '../parts/choose-unit.tsx';
import { Drop } from '../parts/drop.tsx';
import { ChooseRegion, type RegionAsked } from '../parts/region.tsx';
import { Tamper } from '../parts/tamper.tsx';
import { address, bytes, Caution, Facts, moment, sentence, Tell } from '../parts/tell.tsx';
import { choose, type Place } from '../router.ts';
import type { AnswerShown, AppraisalShown, ChallengeMade, Play, PlayOutcome } from '../shapes.ts';
import { useWork } from '../use.ts';

/** What was sent and came back, and what it is worth. */
interface Exchange {
  readonly made: ChallengeMade;
  readonly answer: AnswerShown;
  readonly again: boolean;
  readonly appraisal: AppraisalShown | undefined;
}

/** Challenge: ask a unit to prove what it runs, and see what its answer is worth. */
export function ChallengeScreen({ place }: { place: Place }) {
  const unit = useNamedUnit(place);
  const envelope = useNamedFile(place, 'envelope');
  const image = useNamedFile(place, 'image');
  const { play } = unit;
  return (
    <>
      <h1>Challenge</h1>
      <div class="two">
        <ChooseUnit place={place} unit={unit} clears={{ region: undefined }} />
        <section aria-labelledby="expected">
          <h2 id="expected">What should run</h2>
          <Drop
            label="Sealed envelope"
            hint="Of the release that should run: what the unit measures is compared with its image."
            {...envelope}
          />
          <Drop label="Image beside it" hint="Only where the envelope holds none in clear." {...image} />
        </section>
      </div>
      {play && (
        <Exchanges
          key={play.play}
          play={play}
          envelope={envelope.file}
          image={image.file}
          region={regionNamed(place.query.get('region'))}
          moved={unit.moved}
        />
      )}
    </>
  );
}

interface Props {
  readonly play: Play;
  readonly envelope: DeskFile | undefined;
  readonly image: DeskFile | undefined;
  moved(play: Play): void;
}

/** A region as addresses have it: its name, or where it begins and its bytes, as in 0x08000400+2048. */
const STRETCH = /^(0x[0-9a-f]{1,13})\+(\d{1,10})$/;

function regionNamed(named: string | null): RegionAsked {
  const stretch = STRETCH.exec(named ?? '');
  if (stretch) return { address: Number(stretch[1]), size_bytes: Number(stretch[2]) };
  return { name: named ?? 'running' };
}

function chooseRegion(region: RegionAsked): void {
  choose({ region: 'name' in region ? region.name : `${address(region.address)}+${region.size_bytes}` });
}

function Exchanges({ play, envelope, image, region, moved }: Props & { region: RegionAsked }) {
  const [passphrase, setPassphrase] = useState('');
  const [last, setLast] = useState<Exchange>();
  const work = useWork();
  const access = passphrase ? { passphrase } : {};
  const appraise = (token: string) =>
    post<AppraisalShown>('/appraisals', {
      token,
      ...(envelope && { file: envelope.id }),
      ...(image && { image: image.id }),
      ...access,
    });
  const challenge = () =>
    work.run(async () => {
      const { class: className, serial } = play.shown;
      const made = await post<ChallengeMade>('/challenges', { class: className, serial, region });
      const answer = await post<AnswerShown>(`/plays/${play.play}/answers`, {
        challenge: made.challenge,
        ...access,
      });
      const appraisal = answer.token === null ? undefined : await appraise(answer.token);
      setPassphrase('');
      setLast({ made, answer, appraisal, again: false });
    });
  const replay = ({ made, answer }: Exchange) =>
    work.run(async () => setLast({ made, answer, appraisal: await appraise(answer.token!), again: true }));
  return (
    <div class="two">
      <div>
        <section aria-labelledby="region">
          <h2 id="region">What it is to measure</h2>
          {play.shown.running === null && (
            <Idle play={play} envelope={envelope} image={image} moved={moved} />
          )}
          <ChooseRegion play={play} region={region} choose={chooseRegion} />
          <form
            class="row"
            onSubmit={(event) => {
              event.preventDefault();
              challenge();
            }}
          >
            <label>
              Passphrase of the unit's key
              <input
                type="password"
                value={passphrase}
                autocomplete="off"
                placeholder="trial units need none"
                onInput={(e) => setPassphrase(e.currentTarget.value)}
              />
            </label>
            <button type="submit" class="main" disabled={work.busy || play.shown.running === null}>
              Challenge the unit
            </button>
          </form>
          <p class="hint">
            The challenge is taken down and its appraisal goes into the ledger, as with any unit: the copy
            answers with the unit's own key. A copy that was started more often than the unit itself makes the
            unit look set back until it has caught up.
          </p>
          <Tell problem={work.problem} />
        </section>
        <Tamper play={play} moved={moved} />
      </div>
      <div>
        {last ? (
          <Told exchange={last} busy={work.busy} replay={() => replay(last)} />
        ) : (
          <p class="hint">What the unit answers, and what that is worth, will stand here.</p>
        )}
        {last?.appraisal && <Appraised shown={last.appraisal} />}
      </div>
    </div>
  );
}

function Told({ exchange, busy, replay }: { exchange: Exchange; busy: boolean; replay(): void }) {
  const { made, answer, again } = exchange;
  return (
    <section aria-labelledby="exchange">
      <h2 id="exchange">{again ? 'The old answer, sent again' : 'What went and came back'}</h2>
      <Facts
        facts={[
          ['nonce', <code>{made.nonce}</code>],
          ['good until', `${moment(made.expires)}, for one answer`],
          [
            'answer',
            answer.token === null ? 'none' : `${bytes(answer.size_bytes ?? 0)}, ${answer.container}`,
          ],
        ]}
      />
      {answer.refusal && (
        <Caution>
          The unit does not answer: {answer.refusal.says} <code>{answer.refusal.code}</code>.{' '}
          {sentence(answer.refusal.next)}
        </Caution>
      )}
      {answer.token !== null && (
        <button type="button" disabled={busy} onClick={replay}>
          Send this old answer again
        </button>
      )}
    </section>
  );
}

/** A unit that was not started has nothing that could vouch for it. */
function Idle({ play, envelope, image, moved }: Props) {
  const work = useWork();
  const act = async (body: object) => moved((await post<PlayOutcome>(`/plays/${play.play}/acts`, body)).unit);
  const install = () =>
    work.run(async () => {
      await act({ act: 'install', file: envelope!.id, ...(image && { image: image.id }) });
      await act({ act: 'start' });
      await act({ act: 'keep' });
    });
  return (
    <div class="notice caution">
      <p>Nothing runs in this unit, so there is nothing that could vouch for it.</p>
      <p class="row">
        <button type="button" disabled={work.busy} onClick={() => work.run(() => act({ act: 'start' }))}>
          Start it
        </button>
        <button type="button" disabled={work.busy || !envelope} onClick={install}>
          Install the envelope, start and keep it
        </button>
      </p>
      <Tell problem={work.problem} />
    </div>
  );
}

import { useState } from 'preact/hooks';
import { type DeskFile, follow, post } from '../api.ts';
import type { BroadcastView } from '../fleet-shapes.ts';
import type { PlanInHand } from '../plan-in-hand.ts';
import { choose } from '../router.ts';
import { useWork } from '../use.ts';
import { Field } from './field.tsx';
import { Caution, Tell } from './tell.tsx';

interface Props {
  readonly className: string;
  readonly plan: PlanInHand;
  readonly payload: DeskFile | undefined;
  readonly images: readonly DeskFile[];
  readonly stones: readonly DeskFile[];
  begun(): void;
}

/** What follows is said first; then the name of the class is the word that begins it. */
export function BeginConfirmed(props: Props) {
  const { className, plan, payload } = props;
  return (
    <section aria-labelledby="word">
      <h3 id="word">Begin it</h3>
      {!payload && <p class="hint">Drop the payload above first.</p>}
      {payload && (
        <>
          <Caution>
            The pilot holds units that you can watch and reach.{' '}
            <a href={rehearsal(className, payload)}>Rehearse</a> the payload first, and keep a recovery path
            proved on a real unit.
          </Caution>
          <Caution>
            A stop takes the offer back; it brings no unit back. Units never go back to a lower sequence
            number: the way back is the former image, sealed again under a higher one.
          </Caution>
          <Caution>
            For a product under a safety or approval standard, that standard and qualified practice decide
            whether, when and by whom it is installed.
          </Caution>
          {plan.depot === null ? (
            <AtCommandLine {...props} payload={payload} />
          ) : (
            <Word {...props} payload={payload} />
          )}
        </>
      )}
    </section>
  );
}

const rehearsal = (className: string, { sha256 }: DeskFile) =>
  `/rehearse?class=${className}&payload=${sha256}`;

type WithPayload = Props & { readonly payload: DeskFile };

function Word({ className, plan, payload, images, stones, begun }: WithPayload) {
  const [confirm, setConfirm] = useState('');
  const work = useWork();
  const begin = () =>
    work.run(async () => {
      const { job } = await post<{ job: string }>('/broadcasts', {
        class: className,
        plan: plan.text,
        file: payload.id,
        images: images.map(({ id }) => id),
        stepping_stones: stones.map(({ id }) => id),
        confirm,
      });
      const { broadcast } = await follow<BroadcastView>(job, () => {});
      plan.forget();
      begun();
      choose({ ...CHOSEN, broadcast: broadcast.toString() });
      scrollTo(0, 0);
    });
  return (
    <form
      class="act"
      onSubmit={(event) => {
        event.preventDefault();
        begin();
      }}
    >
      <Caution>
        The files go into the depot <code>{plan.depot}</code>, and every unit of {className} into its wave.
        Nothing is announced by that: units hear of it only once somebody steers.
      </Caution>
      <Field label={`Type ${className} to confirm`} value={confirm} set={setConfirm} />
      <button type="submit" class="cut" disabled={work.busy || confirm !== className}>
        Begin to send {payload.name} to {className}
      </button>
      <p class="hint" role="status">
        {work.busy && 'Putting files into the depot and units into waves...'}
      </p>
      <Tell problem={work.problem} />
    </form>
  );
}

/** Choices of the address that end with the beginning. */
const CHOSEN = {
  begin: undefined,
  class: undefined,
  payload: undefined,
  images: undefined,
  'stepping-stones': undefined,
};

/** Where nobody said which folder units fetch from, the command that says it. */
function AtCommandLine({ className, payload, images, stones }: WithPayload) {
  const beside = [
    ...images.map(({ name }) => `--image ${name}`),
    ...stones.map(({ name }) => `--stepping-stone ${name}`),
  ];
  const words = [
    'fieldseal broadcast begin',
    className,
    payload.name,
    `--plan ${className}-waves.yaml`,
    ...beside,
  ];
  return (
    <>
      <p>
        This desk was not told which folder units fetch from, so nothing begins here. Take the plan as a file,
        and where the depot is:
      </p>
      <pre>{`${words.join(' ')} --depot DIR`}</pre>
      <p class="hint">
        Or have the desk opened with <code>fieldseal serve --depot DIR</code>.
      </p>
    </>
  );
}

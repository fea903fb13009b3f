import { useEffect, useState } from 'preact/hooks';
import { type DeskFile, follow, type Problem, post } from '../api.ts';
import { useNamedFile } from '../named.ts';
import { ChooseClass } from '../parts/choose-class.tsx';
import { ChooseSigners } from '../parts/choose-signers.tsx';
import { Cost } from '../parts/cost.tsx';
import { Drop } from '../parts/drop.tsx';
import { type ImageShown, MemoryMap } from '../parts/memory-map.tsx';
import { type Sealed, SealedShown } from '../parts/sealed.tsx';
import { SequenceNumber } from '../parts/sequence-number.tsx';
import { Tell } from '../parts/tell.tsx';
import { choose, type Place } from '../router.ts';
import type { KeyShown, Standing } from '../shapes.ts';
import { SESSION_CHANGED, useDocument, useWork } from '../use.ts';

/** Seal a release: a firmware file, its place in the class's memory map, and the envelope made of it. */
export function Seal({ place }: { place: Place }) {
  const standing = useDocument<Standing>('/standing');
  const className = place.query.get('class') ?? '';
  const firmware = useNamedFile(place, 'firmware');
  const { file } = firmware;
  const { image, problem } = useImage(file, className);
  return (
    <>
      <h1>Seal a release</h1>
      <Tell problem={standing.problem} />
      <div class="two">
        <section aria-labelledby="what">
          <h2 id="what">What is sealed</h2>
          <ChooseClass
            standing={standing.value}
            chosen={className}
            choose={(name) => choose({ class: name })}
          />
          <Drop
            label="Firmware file"
            hint="Raw binary, Intel HEX, S-record or ELF. It goes to this desk and nowhere else."
            {...firmware}
          />
        </section>
        <section aria-labelledby="fit" aria-live="polite">
          <h2 id="fit">Where it lies</h2>
          <Tell problem={problem} />
          {image ? (
            <>
              <MemoryMap shown={image} />
              <Cost cost={image.cost} />
            </>
          ) : (
            !problem && <p class="hint">Choose a class and a firmware file.</p>
          )}
        </section>
      </div>
      {className !== '' && (
        <p class="hint">
          Does the class ask for approval?{' '}
          <a href={`/approvals?ask=${className}${file ? `&firmware=${file.sha256}` : ''}`}>
            Ask for it to be sealed
          </a>{' '}
          instead; another person approves it, and then just that is sealed.
        </p>
      )}
      {image && file && <Make className={className} file={file} keys={standing.value?.keys ?? []} />}
    </>
  );
}

function useImage(file: DeskFile | undefined, className: string) {
  const [state, setState] = useState<{ image?: ImageShown; problem?: Problem }>({});
  useEffect(() => {
    let wanted = true;
    setState({});
    if (file && className !== '') {
      post<ImageShown>('/images', { file: file.id, class: className }).then(
        (image) => wanted && setState({ image }),
        (problem: Problem) => wanted && setState({ problem }),
      );
    }
    return () => {
      wanted = false;
    };
  }, [file, className]);
  return { image: state.image, problem: state.problem };
}

const HELD_MINUTES = 5;

/** Lets the desk hold the passphrase for a while; the head of every page shows until when. */
async function holdPassphrase(passphrase: string): Promise<void> {
  await post('/session/passphrase', { passphrase, minutes: HELD_MINUTES });
  dispatchEvent(new Event(SESSION_CHANGED));
}

function Make({ className, file, keys }: { className: string; file: DeskFile; keys: readonly KeyShown[] }) {
  const [version, setVersion] = useState('');
  const [description, setDescription] = useState('');
  const [sequence, setSequence] = useState('');
  const [signers, setSigners] = useState<readonly string[]>([]);
  const [detached, setDetached] = useState(false);
  const [passphrase, setPassphrase] = useState('');
  const [pin, setPin] = useState('');
  const [hold, setHold] = useState(false);
  const [step, setStep] = useState<{ doing: string; done: number; total: number }>();
  const [sealed, setSealed] = useState<Sealed>();
  const work = useWork();
  const seal = () =>
    work.run(async () => {
      setSealed(undefined);
      const order = {
        file: file.id,
        class: className,
        version,
        detached,
        signers,
        ...(description && { description }),
        ...(sequence && { sequence }),
      };
      const given = { ...(passphrase && { passphrase }), ...(pin && { pin }) };
      const { job } = await post<{ job: string }>('/seals', { ...order, ...given });
      if (hold && passphrase) await holdPassphrase(passphrase);
      setPassphrase('');
      setPin('');
      try {
        setSealed(await follow<Sealed>(job, (doing, done, total) => setStep({ doing, done, total })));
      } finally {
        setStep(undefined);
      }
    });
  return (
    <section aria-labelledby="seal">
      <h2 id="seal">Seal it</h2>
      <form
        class="row"
        onSubmit={(event) => {
          event.preventDefault();
          seal();
        }}
      >
        <label>
          Version
          <input
            value={version}
            required
            placeholder="1.4.0"
            onInput={(e) => setVersion(e.currentTarget.value)}
          />
        </label>
        <label>
          Description for people
          <input value={description} onInput={(e) => setDescription(e.currentTarget.value)} />
        </label>
        <SequenceNumber value={sequence} set={setSequence} />
        <label>
          Passphrase of the key
          <input
            type="password"
            value={passphrase}
            autocomplete="off"
            onInput={(e) => setPassphrase(e.currentTarget.value)}
          />
        </label>
        <label>
          PIN, for a key in a token
          <input
            type="password"
            value={pin}
            autocomplete="off"
            onInput={(e) => setPin(e.currentTarget.value)}
          />
        </label>
        <label class="tick">
          <input type="checkbox" checked={hold} onChange={(e) => setHold(e.currentTarget.checked)} />
          hold the passphrase for {HELD_MINUTES} minutes
        </label>
        <label class="tick">
          <input type="checkbox" checked={detached} onChange={(e) => setDetached(e.currentTarget.checked)} />
          leave the image beside the envelope
        </label>
        <ChooseSigners keys={keys} chosen={signers} choose={setSigners} />
        <button type="submit" class="main" disabled={work.busy}>
          Seal
        </button>
      </form>
      <p class="hint">
        Sealing takes the next sequence number, or the one named, above all that went before. A number that
        was taken is never given again, and units that took it refuse every lower one.
      </p>
      {step && (
        <p aria-live="polite">
          <progress value={step.done} max={step.total} /> {step.doing}
        </p>
      )}
      <Tell problem={work.problem} />
      {sealed && <SealedShown sealed={sealed} />}
    </section>
  );
}

import { useState } from 'preact/hooks';
import { type DeskFile, follow, post } from '../api.ts';
import { Drop } from '../parts/drop.tsx';
import { Steps } from '../parts/steps.tsx';
import { Caution, Digest, Facts, Tell } from '../parts/tell.tsx';
import type { Standing, StepShown } from '../shapes.ts';
import { useDocument, useWork } from '../use.ts';

interface Row {
  readonly name: string;
  readonly threat: string;
  readonly built: string;
  readonly against: string;
  readonly step: string;
  readonly refusal: string;
  readonly outcome: 'passed' | 'failed' | 'exposed';
  readonly heard: string | null;
  readonly because: string | null;
}

interface Rehearsed {
  readonly outcome: 'passed' | 'failed' | 'not taken';
  readonly why: string | null;
  readonly refusal: { readonly says: string; readonly next: string; readonly step: string } | null;
  readonly envelope: { readonly sha256: string; readonly size_bytes: number };
  readonly unit: { readonly class: string; readonly swapped: readonly string[] };
  readonly counts: {
    readonly rows: number;
    readonly passed: number;
    readonly failed: number;
    readonly exposed: number;
  };
  readonly threats: readonly {
    readonly name: string;
    readonly about: string;
    readonly outside: string | null;
    readonly passed: number;
    readonly failed: number;
    readonly exposed: number;
  }[];
  readonly rows: readonly Row[];
}

const SAYS = {
  passed: 'refused as it must be',
  failed: 'NOT refused as it must be',
  exposed: 'not tried: exposure',
};

/** Rehearse: every forgery of a payload, made and refused before anything is sent. */
export function Rehearse() {
  const standing = useDocument<Standing>('/standing');
  const [className, setClassName] = useState('');
  const [payload, setPayload] = useState<DeskFile>();
  const [image, setImage] = useState<DeskFile>();
  const [result, setResult] = useState<Rehearsed>();
  const [step, setStep] = useState<{ done: number; total: number }>();
  const work = useWork();
  const begin = () =>
    work.run(async () => {
      setResult(undefined);
      const order = { file: payload!.id, class: className, ...(image && { image: image.id }) };
      const { job } = await post<{ job: string }>('/rehearsals', order);
      try {
        setResult(await follow<Rehearsed>(job, (_, done, total) => setStep({ done, total })));
      } finally {
        setStep(undefined);
      }
    });
  return (
    <>
      <h1>Rehearse</h1>
      <p>
        Before a release is sent, every forgery of it is made and offered to a unit of the class. Each must be
        refused, at its step and for its reason. No key of yours is opened for this.
      </p>
      <Tell problem={standing.problem} />
      <div class="two">
        <label>
          Device class
          <select value={className} onChange={(event) => setClassName(event.currentTarget.value)}>
            <option value="">choose one</option>
            {standing.value?.classes.map(({ name }) => (
              <option key={name} value={name}>
                {name}
              </option>
            ))}
          </select>
        </label>
        <div>
          <Drop label="Payload" file={payload} taken={setPayload} />
          <Drop
            label="Image of a detached payload"
            hint="Only where the image lies beside its envelope."
            file={image}
            taken={setImage}
          />
        </div>
      </div>
      <button type="button" class="main" disabled={!payload || className === '' || work.busy} onClick={begin}>
        Rehearse it
      </button>
      {step && (
        <p aria-live="polite">
          <progress value={step.done} max={step.total} /> {step.done} of {step.total} forgeries
        </p>
      )}
      <Tell problem={work.problem} />
      {result && payload && (
        <Result
          result={result}
          asked={{ file: payload.id, class: className, ...(image && { image: image.id }) }}
        />
      )}
    </>
  );
}

/** What a forgery is made from. */
interface Asked {
  readonly file: string;
  readonly class: string;
  readonly image?: string;
}

function Result({ result, asked }: { result: Rehearsed; asked: Asked }) {
  const { outcome, why, refusal, counts, envelope, unit } = result;
  return (
    <section aria-labelledby="outcome" aria-live="polite">
      <h2 id="outcome" class={`answer ${outcome === 'passed' ? 'accepted' : 'refused'}`}>
        {outcome === 'passed' && `Passed: ${counts.passed} forgeries, each refused at its step`}
        {outcome === 'failed' &&
          `Failed: ${counts.failed} of ${counts.rows} forgeries were not refused as they must be`}
        {outcome === 'not taken' && `Not rehearsed: ${why}`}
      </h2>
      {refusal && (
        <Caution>
          {refusal.says}: step {refusal.step}. {refusal.next}
        </Caution>
      )}
      <Facts
        facts={[
          ['payload', <Digest hex={envelope.sha256} />],
          ['against', `class ${unit.class}`],
          ...(unit.swapped.length === 0
            ? []
            : [['in the stand-in, swapped', unit.swapped.join(', ')] as const]),
          [
            'not tried',
            counts.exposed === 0
              ? 'nothing'
              : `${counts.exposed} rows do not apply here: exposure, not passed`,
          ],
        ]}
      />
      {result.rows.length > 0 && (
        <>
          <Threats threats={result.threats} />
          <Rows rows={result.rows} asked={asked} />
          <a
            class="take"
            download={`rehearsal-${unit.class}.json`}
            href={`data:application/json,${encodeURIComponent(JSON.stringify(result, null, 2))}`}
          >
            Take the result as a file
          </a>
        </>
      )}
    </section>
  );
}

/** One bar for each threat: how many forgeries of it were refused, were not, were not tried. */
function Threats({ threats }: { threats: Rehearsed['threats'] }) {
  return (
    <>
      <h3>Threats of RFC 9124 section 4.2</h3>
      <ul class="threats">
        {threats.map(({ name, about, outside, passed, failed, exposed }) => (
          <li key={name}>
            <span>
              <strong>{name}</strong> {about}
            </span>
            {outside ? (
              <span class="soft">outside: {outside}</span>
            ) : (
              <span class="tally">
                <span class="dots" aria-hidden="true">
                  {'■'.repeat(passed)}
                  <span class="bad">{'✕'.repeat(failed)}</span>
                  {'□'.repeat(exposed)}
                </span>{' '}
                {passed} refused{failed > 0 && `, ${failed} NOT refused`}
                {exposed > 0 && `, ${exposed} not tried`}
              </span>
            )}
          </li>
        ))}
      </ul>
    </>
  );
}

function Rows({ rows, asked }: { rows: readonly Row[]; asked: Asked }) {
  const [wanted, setWanted] = useState('');
  const [step, setStep] = useState('');
  const steps = [...new Set(rows.map((row) => row.step))];
  const shown = rows.filter(
    (row) =>
      (step === '' || row.step === step) &&
      `${row.name} ${row.threat} ${row.built} ${row.outcome}`.toLowerCase().includes(wanted.toLowerCase()),
  );
  return (
    <>
      <h3>Forgeries</h3>
      <p class="row">
        <label>
          Containing
          <input value={wanted} onInput={(event) => setWanted(event.currentTarget.value)} />
        </label>
        <label>
          Step at which it must fall
          <select value={step} onChange={(event) => setStep(event.currentTarget.value)}>
            <option value="">any</option>
            {steps.map((name) => (
              <option key={name}>{name}</option>
            ))}
          </select>
        </label>
        <span class="hint">
          {shown.length} of {rows.length}
        </span>
      </p>
      <ul class="forgeries">
        {shown.map((row) => (
          <li key={row.name} class={row.outcome}>
            <details>
              <summary>
                <strong>{row.name}</strong> <span class="came">{SAYS[row.outcome]}</span>
              </summary>
              <p>{row.built}.</p>
              <Facts
                facts={[
                  ['threat', row.threat],
                  ['must fall at', `${row.step}, ${row.refusal}`],
                  ['asked', row.against],
                  ['heard', row.heard ?? 'nothing: not tried'],
                  ...(row.because ? [['because', row.because] as const] : []),
                ]}
              />
              {row.outcome !== 'exposed' && <Watch name={row.name} asked={asked} />}
            </details>
          </li>
        ))}
      </ul>
    </>
  );
}

/** Makes one forgery again, and shows the decision that it met with. */
function Watch({ name, asked }: { name: string; asked: Asked }) {
  const [steps, setSteps] = useState<readonly StepShown[]>();
  const work = useWork();
  const watch = () =>
    work.run(async () =>
      setSteps(
        (await post<{ steps: readonly StepShown[] }>('/forgeries', { ...asked, forgery: name })).steps,
      ),
    );
  return (
    <>
      <button type="button" disabled={work.busy} onClick={watch}>
        Watch it fall
      </button>
      <Tell problem={work.problem} />
      {steps &&
        (steps.length > 0 ? (
          <Steps steps={steps} refusal={null} />
        ) : (
          <p>It is no payload that a unit decides about: it falls at sealing, or in flash.</p>
        ))}
    </>
  );
}

import { useEffect, useState } from 'preact/hooks';
import { follow, post } from '../api.ts';
import { useNamedFile } from '../named.ts';
import { ChooseClass } from '../parts/choose-class.tsx';
import { Drop } from '../parts/drop.tsx';
import { type Asked, Forgeries, OneForgery, type Row } from '../parts/forgeries.tsx';
import { Caution, Digest, Facts, Tell } from '../parts/tell.tsx';
import { choose, type Place } from '../router.ts';
import type { Standing } from '../shapes.ts';
import { useDocument, useWork } from '../use.ts';

interface Rehearsed {
  /** Whether the ledger has it. */
  readonly entered: boolean;
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

/** Choices that no longer hold once another payload, or another class, is rehearsed. */
const UNRUN = { run: undefined };

/** Rehearse: every forgery of a payload, made and refused before anything is sent. */
export function Rehearse({ place }: { place: Place }) {
  const standing = useDocument<Standing>('/standing');
  const className = place.query.get('class') ?? '';
  const payload = useNamedFile(place, 'payload', ['run']);
  const image = useNamedFile(place, 'image', ['run']);
  const { result, step, problem } = useRun(place.query.get('run') ?? undefined);
  const work = useWork();
  const asked =
    payload.file && className !== ''
      ? { file: payload.file.id, class: className, ...(image.file && { image: image.file.id }) }
      : undefined;
  const begin = () =>
    work.run(async () => choose({ run: (await post<{ job: string }>('/rehearsals', asked)).job }));
  const forgery = place.query.get('forgery') ?? undefined;
  return (
    <>
      <h1>Rehearse</h1>
      <p>
        Before a release is sent, every forgery of it is made and offered to a unit of the class. Each must be
        refused, at its step and for its reason. No key of yours is opened for this.
      </p>
      <Tell problem={standing.problem} />
      <div class="two">
        <ChooseClass
          standing={standing.value}
          chosen={className}
          choose={(name) => choose({ ...UNRUN, class: name })}
        />
        <div>
          <Drop label="Payload" {...payload} />
          <Drop
            label="Image of a detached payload"
            hint="Only where the image lies beside its envelope."
            {...image}
          />
        </div>
      </div>
      <button type="button" class="main" disabled={!asked || work.busy || step !== undefined} onClick={begin}>
        Rehearse it
      </button>
      {step && (
        <p aria-live="polite">
          <progress value={step.done} max={step.total} aria-label="forgeries made" /> {step.done} of{' '}
          {step.total} forgeries
        </p>
      )}
      <Tell problem={work.problem ?? problem} />
      {!result && !step && forgery !== undefined && <OneForgery name={forgery} asked={asked} />}
      {result && <Result result={result} asked={asked} place={place} />}
    </>
  );
}

/** A rehearsal that was begun: how far it is, or what came of it, after a reload too. */
function useRun(job: string | undefined) {
  const [result, setResult] = useState<Rehearsed>();
  const [step, setStep] = useState<{ done: number; total: number }>();
  const work = useWork();
  useEffect(() => {
    setResult(undefined);
    setStep(undefined);
    work.clear();
    if (job === undefined) return;
    const stop = new AbortController();
    work.run(async () => {
      try {
        setResult(await follow<Rehearsed>(job, (_, done, total) => setStep({ done, total }), stop.signal));
      } finally {
        if (!stop.signal.aborted) setStep(undefined);
      }
    });
    return () => stop.abort();
  }, [job]);
  return { result, step, problem: work.problem };
}

function Result({ result, asked, place }: { result: Rehearsed; asked: Asked | undefined; place: Place }) {
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
          ['in the ledger', result.entered ? 'entered' : 'not entered: your role only looks'],
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
          <Forgeries rows={result.rows} asked={asked} place={place} />
          <a
            class="take"
            download={`rehearsal-${unit.class}.json`}
            href={`data:application/json,${encodeURIComponent(documentOf(result))}`}
          >
            Take the result as a file
          </a>
        </>
      )}
    </section>
  );
}

/** The document as "fieldseal rehearse --out" writes it. */
function documentOf({ entered: _, ...document }: Rehearsed): string {
  return `${JSON.stringify(document, null, 2)}\n`;
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

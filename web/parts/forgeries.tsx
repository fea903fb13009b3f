import { useState } from 'preact/hooks';
import { post } from '../api.ts';
import { choose, type Place } from '../router.ts';
import type { StepShown } from '../shapes.ts';
import { useDocument, useWork } from '../use.ts';
import { Steps } from './steps.tsx';
import { Facts, Tell } from './tell.tsx';

/** A forgery that was made, and what came of it. */
export interface Row {
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

/** What a forgery is made from. */
export interface Asked {
  readonly file: string;
  readonly class: string;
  readonly image?: string;
}

const SAYS = {
  passed: 'refused as it must be',
  failed: 'NOT refused as it must be',
  exposed: 'not tried: exposure',
};

/** The forgeries of a rehearsal, by what they contain and the step at which they must fall; the open one stands in the address. */
export function Forgeries({
  rows,
  asked,
  place,
}: {
  rows: readonly Row[];
  asked: Asked | undefined;
  place: Place;
}) {
  const wanted = place.query.get('containing') ?? '';
  const step = place.query.get('step') ?? '';
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
          <input
            value={wanted}
            onInput={(event) => choose({ containing: event.currentTarget.value }, { replace: true })}
          />
        </label>
        <label>
          Step at which it must fall
          <select value={step} onChange={(event) => choose({ step: event.currentTarget.value })}>
            <option value="">any</option>
            {steps.map((name) => (
              <option key={name} selected={name === step}>
                {name}
              </option>
            ))}
          </select>
        </label>
        <span class="hint">
          {shown.length} of {rows.length}
        </span>
      </p>
      <ul class="forgeries">
        {shown.map((row) => (
          <OneRow key={row.name} row={row} asked={asked} open={place.query.get('forgery') === row.name} />
        ))}
      </ul>
    </>
  );
}

function OneRow({ row, asked, open }: { row: Row; asked: Asked | undefined; open: boolean }) {
  return (
    <li class={row.outcome}>
      <details
        open={open}
        onToggle={({ currentTarget }) => {
          if (currentTarget.open !== open) choose({ forgery: currentTarget.open ? row.name : undefined });
        }}
      >
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
  );
}

/** One forgery that an address names, where the whole table was not rehearsed here. */
export function OneForgery({ name, asked }: { name: string; asked: Asked | undefined }) {
  const table = useDocument<{ forgeries: readonly Pick<Row, 'name' | 'threat' | 'built'>[] }>('/forgeries');
  const row = table.value?.forgeries.find((each) => each.name === name);
  if (!table.value) return <Tell problem={table.problem} />;
  return (
    <section aria-labelledby="forgery">
      <h2 id="forgery">{row ? row.name : 'There is no such forgery'}</h2>
      {row ? (
        <>
          <p>{row.built}.</p>
          <Facts facts={[['threat', row.threat]]} />
          <Watch name={row.name} asked={asked} />
        </>
      ) : (
        <p>The table of forgeries has no row of the name that the address gives.</p>
      )}
    </section>
  );
}

/** Makes one forgery again, and shows the decision that it met with. */
function Watch({ name, asked }: { name: string; asked: Asked | undefined }) {
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
      <button type="button" disabled={work.busy || !asked} onClick={watch}>
        Watch it fall
      </button>
      {!asked && <p class="hint">It is made from a payload and for a class: choose both above.</p>}
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

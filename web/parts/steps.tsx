import type { RefusalShown, StepShown } from '../shapes.ts';
import { sentence } from './tell.tsx';

/** A decision: its steps in order, each with what it asks, how it ended, and what was compared. */
export function Steps({ steps, refusal }: { steps: readonly StepShown[]; refusal: RefusalShown | null }) {
  return (
    <ol class="steps">
      {steps.map((step) => (
        <Step key={step.step} shown={step} refusal={refusal?.step === step.step ? refusal : null} />
      ))}
    </ol>
  );
}

const SAYS: Readonly<Record<string, string>> = {
  passed: 'holds',
  refused: 'falls here',
  absent: 'something is absent',
};

function Step({ shown, refusal }: { shown: StepShown; refusal: RefusalShown | null }) {
  const { step, number, outcome, asks, comparisons } = shown;
  return (
    <li class={`step ${outcome.replace(' ', '-')}`}>
      <details open={outcome === 'refused'}>
        <summary>
          <span class="number">{number}</span>
          <span class="asks">
            <strong>{step}</strong> {asks && <span class="soft">{asks}</span>}
          </span>
          <span class="outcome">{SAYS[outcome] ?? outcome}</span>
        </summary>
        {refusal && <Refused refusal={refusal} />}
        {comparisons.length > 0 && (
          <div class="wide">
            <table>
              <thead>
                <tr>
                  <th scope="col">what was compared</th>
                  <th scope="col">wanted</th>
                  <th scope="col">found</th>
                  <th scope="col">so</th>
                </tr>
              </thead>
              <tbody>
                {comparisons.map(({ what, expected, found, ok, source }, i) => (
                  <tr key={`${what}-${i}`} class={ok === false ? 'fails' : undefined}>
                    <th scope="row">
                      {what} <small>{source}</small>
                    </th>
                    <td>
                      <code>{expected ?? ''}</code>
                    </td>
                    <td>
                      <code>{found ?? ''}</code>
                    </td>
                    <td>{ok === null ? 'noted' : ok ? 'holds' : 'fails'}</td>
                  </tr>
                ))}
              </tbody>
            </table>
          </div>
        )}
      </details>
    </li>
  );
}

/** A refusal: what it says, what it means, what to do next. */
export function Refused({ refusal: { code, says, meaning, next } }: { refusal: RefusalShown }) {
  return (
    <div class="notice refused">
      <p>
        <strong>{sentence(says)}</strong> <code>{code}</code>
      </p>
      <p>{sentence(meaning)}</p>
      <p>{sentence(next)}</p>
    </div>
  );
}

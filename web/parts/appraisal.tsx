import type { AppraisalShown } from '../shapes.ts';
import { Refused } from './steps.tsx';
import { Caution, Facts, sentence } from './tell.tsx';

const OUTCOME = { holds: 'passed', fails: 'refused', 'not judged': 'not-judged' } as const;
const HEADING = {
  genuine: 'Genuine: what was measured is what was sealed',
  refused: 'Not taken',
  incomplete: 'Incomplete: nothing is refuted, but something needed is absent; the challenge stays open',
} as const;

/** What an answer is worth: claim by claim in their order, with reasons, and what it does not prove. */
export function Appraised({ shown }: { shown: AppraisalShown }) {
  const { verdict, refusal, claims, sender, release, limits, cautions } = shown;
  const failed = claims.find(({ result }) => result === 'fails');
  return (
    <section aria-labelledby="appraisal" aria-live="polite">
      <h2 id="appraisal" class={`answer ${verdict}`}>
        {HEADING[verdict]}
        {failed && `, at ${failed.claim}`}
      </h2>
      {refusal && <Refused refusal={refusal} />}
      {cautions.map((caution) => (
        <Caution key={caution}>{sentence(caution)}</Caution>
      ))}
      <Facts
        facts={[
          ['proved by', sender ? `${sender.proved_by} of ${sender.class} ${sender.serial}` : 'nobody'],
          ['says it runs', release ? `${release.version}, number ${release.sequence_number}` : 'not known'],
        ]}
      />
      {sender?.proved_by === 'class key' && (
        <Caution>
          A MAC proves only that somebody with the class key made this; any unit of the class could have.
        </Caution>
      )}
      <ol class="steps claims">
        {claims.map(({ claim, result, detail }) => (
          <li key={claim} class={`step ${OUTCOME[result]}`}>
            <strong>{claim}</strong> <span>{detail}</span> <span class="outcome">{result}</span>
          </li>
        ))}
      </ol>
      <h3>What no answer proves</h3>
      <ul>
        {limits.map((limit) => (
          <li key={limit}>{limit}</li>
        ))}
      </ul>
    </section>
  );
}

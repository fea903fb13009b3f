import type { PlanJudgement } from '../fleet-shapes.ts';
import { Bar } from './bar.tsx';
import { Caution, count, counted, sentence } from './tell.tsx';

/** What a plan comes to as the fleet stands: whom each wave reaches, what the pilot lacks, and who is in no wave. */
export function PlanJudged({ judgement }: { judgement: PlanJudgement }) {
  const { units, waves, in_no_wave, not_in_fleet, refused, cautions } = judgement;
  const upTo = (i: number) => waves.slice(0, i + 1).reduce((sum, wave) => sum + wave.units, 0);
  return (
    <section aria-labelledby="judged" aria-live="polite">
      <h3 id="judged" class={`answer ${refused ? 'refused' : 'accepted'}`}>
        {refused
          ? 'Nothing begins like this'
          : `${counted(waves.length, 'wave')} for ${counted(units, 'unit')} of the class`}
      </h3>
      {refused && (
        <p class="notice refused">
          <strong>{sentence(refused.message)}</strong> {sentence(refused.hint)}
        </p>
      )}
      {cautions.map((each) => (
        <Caution key={each}>{sentence(each)}</Caution>
      ))}
      <div class="wide">
        <table>
          <thead>
            <tr>
              <th scope="col">Wave</th>
              <th scope="col">Reaches</th>
              <th scope="col">New in it</th>
              <th scope="col">With those before</th>
            </tr>
          </thead>
          <tbody>
            {waves.map(({ name, units: held, share }, i) => (
              <tr key={name}>
                <th scope="row">{name}</th>
                <td>{share === null ? 'units by name' : `${share} of a thousand`}</td>
                <td>{count(held)}</td>
                <td>
                  <Bar share={units === 0 ? 0 : upTo(i) / units} beside ground /> {count(upTo(i))}
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      {waves.some(({ share }) => share !== null) && (
        <p class="hint">Shares are drawn by a lot of their own when it begins, so they hold about so many.</p>
      )}
      {in_no_wave > 0 && <Caution>{counted(in_no_wave, 'unit')} of the class are in no wave.</Caution>}
      {not_in_fleet.length > 0 && (
        <Caution>The pilot names what is not in the fleet: {not_in_fleet.join(', ')}.</Caution>
      )}
    </section>
  );
}

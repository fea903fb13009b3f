import { Bar } from '../parts/bar.tsx';
import { ChooseClass } from '../parts/choose-class.tsx';
import { Incidents } from '../parts/incidents.tsx';
import { bytes, Caution, Facts, sentence, Tell } from '../parts/tell.tsx';
import { choose, type Place } from '../router.ts';
import type { Standing } from '../shapes.ts';
import { useDocument } from '../use.ts';

interface Plan {
  readonly class: string;
  readonly model: string;
  readonly choices: readonly {
    readonly choice: string;
    readonly chosen: string;
    readonly consequences: readonly string[];
  }[];
  readonly alternatives: readonly {
    readonly profile: string;
    readonly scheme: string;
    readonly authentication: string;
    readonly chosen: boolean;
    readonly added_bytes: number;
    readonly verifications: number;
    readonly authentication_ms: number;
  }[];
  readonly leaks: readonly {
    readonly key: string;
    readonly gains: string;
    readonly reaches: number | null;
    readonly repair: string;
    readonly repairable: boolean;
  }[];
  readonly findings: readonly {
    readonly id: string;
    readonly weight: string;
    readonly says: string;
    readonly means: string;
    readonly next: string;
    readonly rule: string | null;
  }[];
}

/** Plan and incidents: what follows from a choice before it is made, and what to do when something has happened. */
export function PlanScreen({ place }: { place: Place }) {
  const standing = useDocument<Standing>('/standing');
  const className = place.query.get('class') ?? '';
  return (
    <>
      <h1>Plan and incidents</h1>
      <Tell problem={standing.problem} />
      <Incidents
        place={place}
        keys={standing.value?.keys.map(({ name }) => name) ?? []}
        classes={standing.value?.classes.map(({ name }) => name) ?? []}
      />
      <section aria-labelledby="plan">
        <h2 id="plan">The trust plan of a class</h2>
        <ChooseClass
          standing={standing.value}
          chosen={className}
          choose={(name) => choose({ class: name })}
        />
        {className !== '' && <PlanOf key={className} className={className} />}
      </section>
    </>
  );
}

function PlanOf({ className }: { className: string }) {
  const { value, problem } = useDocument<Plan>(`/plans/${className}`);
  if (problem) return <Tell problem={problem} />;
  if (!value) return <p class="waiting">Computing what follows...</p>;
  return (
    <>
      {value.findings.map(({ id, weight, says, means, next, rule }) => (
        <Caution key={id}>
          <strong>{sentence(`${weight}: ${says}`)}</strong> {sentence(means)} {sentence(next)}{' '}
          {rule && <small>{rule}</small>}
        </Caution>
      ))}
      <h3>What was chosen, and what follows</h3>
      {value.choices.map(({ choice, chosen, consequences }) => (
        <details key={choice} class="choice">
          <summary>
            <strong>{choice}</strong> {chosen}
          </summary>
          <ul>
            {consequences.map((consequence) => (
              <li key={consequence}>{consequence}</li>
            ))}
          </ul>
        </details>
      ))}
      <Alternatives plan={value} />
      <h3>If a key leaks</h3>
      {value.leaks.map(({ key, gains, reaches, repair, repairable }) => (
        <Facts
          key={key}
          facts={[
            [key, gains],
            ['reaches', reaches === null ? 'units not known here' : `${reaches} units`],
            [repairable ? 'repaired by' : 'not repaired without touching units', repair],
          ]}
        />
      ))}
      <p class="hint">
        A record to sign off: <code>fieldseal plan {value.class} --out plan.md --decided-by NAME</code>. Not
        legal advice.
      </p>
    </>
  );
}

/** The profiles side by side; bars show bytes added and time to verify, the longest being the whole width. */
function Alternatives({ plan }: { plan: Plan }) {
  const most = Math.max(...plan.alternatives.map(({ added_bytes }) => added_bytes));
  const longest = Math.max(...plan.alternatives.map(({ authentication_ms }) => authentication_ms));
  return (
    <>
      <h3>Alternatives</h3>
      <div class="wide">
        <table>
          <thead>
            <tr>
              <th scope="col">profile</th>
              <th scope="col">scheme</th>
              <th scope="col">bytes added</th>
              <th scope="col">time to verify</th>
            </tr>
          </thead>
          <tbody>
            {plan.alternatives.map((each) => (
              <tr key={`${each.profile}-${each.authentication}`}>
                <th scope="row">
                  {each.profile} {each.chosen && <span class="state">chosen</span>}
                </th>
                <td>{each.scheme}</td>
                <td>
                  <Bar share={each.added_bytes / most} /> {bytes(each.added_bytes)}
                </td>
                <td>
                  <Bar share={each.authentication_ms / longest} /> {Math.round(each.authentication_ms)} ms,{' '}
                  {each.verifications} signatures
                </td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </>
  );
}

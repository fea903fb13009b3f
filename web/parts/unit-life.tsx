import { useState } from 'preact/hooks';
import { get } from '../api.ts';
import { type LifeEntry, STATE_SAYS, type UnitLife } from '../fleet-shapes.ts';
import { useDocument, useWork } from '../use.ts';
import { Mark } from './plot.tsx';
import { Facts, moment, sentence, Tell } from './tell.tsx';

const OUTCOME: Readonly<Record<string, string>> = {
  success: 'it runs and proved itself',
  pending: 'it runs on trial',
  unfinished: 'it began, and is not done',
  failed: 'it did not take it',
};

/** One unit: what is known of it, and its life, newest first. `named`: its class and its identifier. */
export function UnitLifeShown({ named, back }: { named: string; back: string }) {
  const path = `/fleet/units/${named.split('/').map(encodeURIComponent).join('/')}`;
  const first = useDocument<UnitLife>(path);
  const [older, setOlder] = useState<UnitLife>();
  const work = useWork();
  if (first.problem) return <Tell problem={first.problem} />;
  if (!first.value) return <p class="waiting">Looking for it...</p>;
  const { unit } = first.value;
  const history = [...first.value.history, ...(older?.history ?? [])];
  const next = older ? older.next : first.value.next;
  const fetchOlder = () =>
    work.run(async () => {
      const page = await get<UnitLife>(`${path}?after=${encodeURIComponent(next!)}`);
      setOlder({ ...page, history: [...(older?.history ?? []), ...page.history] });
    });
  return (
    <section aria-labelledby="life" class="life">
      <h2 id="life">
        Unit {unit.serial ?? unit.device} <small>{unit.class ?? unit.class_id}</small>
      </h2>
      <p>
        <a href={back}>Back to all that were looked for</a>
      </p>
      <div class="two">
        <Facts
          facts={[
            [
              'stands',
              <>
                <Mark state={unit.state} /> {STATE_SAYS[unit.state]}
                {unit.refusal && `: ${unit.refusal.step}, ${unit.refusal.code}`}
              </>,
            ],
            [
              'runs',
              unit.version === null
                ? 'not known'
                : `${unit.version}${unit.sequence_number === null ? '' : `, number ${unit.sequence_number}`}`,
            ],
            ['last heard', unit.last_heard ? moment(unit.last_heard) : 'never'],
            [
              'wave',
              unit.wave ? (
                <a href={`/broadcast?broadcast=${unit.wave.broadcast}`}>
                  {unit.wave.number} of broadcast {unit.wave.broadcast}
                </a>
              ) : (
                'in none'
              ),
            ],
            [
              'proved itself',
              unit.attestation
                ? `${unit.attestation.verdict}, ${moment(unit.attestation.at)}`
                : 'never asked',
            ],
            ['device identifier', <code>{unit.device}</code>],
            ['cohort', unit.cohort ?? 'none'],
            ['hardware', unit.hardware ?? 'not known'],
            ...Object.entries(unit.tags),
          ]}
        />
        <div>
          <h3>Its life, newest first</h3>
          {history.length === 0 && <p>Nothing was heard of it yet.</p>}
          <ol class="journal">
            {history.map((entry, i) => (
              <Entry key={i} entry={entry} />
            ))}
          </ol>
          {next !== null && (
            <button type="button" disabled={work.busy} onClick={fetchOlder}>
              Show older
            </button>
          )}
          <Tell problem={work.problem} />
        </div>
      </div>
    </section>
  );
}

function Entry({ entry }: { entry: LifeEntry }) {
  const at = <span class="soft">{moment(entry.at)}</span>;
  if (entry.kind === 'event')
    return (
      <li>
        {at} {sentence(entry.text)} <span class="soft">{entry.who}</span>
      </li>
    );
  if (entry.kind === 'attestation')
    return (
      <li>
        {at} It was asked to prove itself: {entry.verdict}
        {entry.refusal && (
          <>
            , <code>{entry.refusal}</code>
          </>
        )}
        .
      </li>
    );
  const { outcome, refusal, version, sequence_number } = entry;
  return (
    <li>
      {at} It reported{version !== null && ` about ${version}`}
      {version === null && sequence_number !== null && ` about number ${sequence_number}`}:{' '}
      {OUTCOME[outcome] ?? outcome}
      {refusal && (
        <>
          {' '}
          at {refusal.step}, <code>{refusal.code}</code>
        </>
      )}
      .
    </li>
  );
}

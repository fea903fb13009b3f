import type { BroadcastListed } from '../fleet-shapes.ts';
import { Caution, counted, Digest, Facts, moment, Tell } from '../parts/tell.tsx';
import type { KeyShown, ReleaseShown, Standing } from '../shapes.ts';
import { useDocument } from '../use.ts';

const DAY_MS = 86_400_000;

/** Where do I stand? */
export function Stand() {
  const { value, problem } = useDocument<Standing>('/standing');
  if (problem) return <Tell problem={problem} />;
  if (!value) return <p class="waiting">Reading the workspace...</p>;
  return (
    <>
      <h1>Where do I stand?</h1>
      <Next {...value.next} />
      <Warnings standing={value} />
      <Lapses standing={value} />
      <Classes standing={value} />
      <Releases standing={value} />
      <UnderWay />
    </>
  );
}

function Next({ says, command, page }: Standing['next']) {
  return (
    <section class="next" aria-labelledby="next">
      <h2 id="next">Next</h2>
      <p>
        {says} {page && <a href={page}>Do it here</a>}
      </p>
      <pre>
        <code>{command}</code>
      </pre>
    </section>
  );
}

function Warnings({ standing: { cautions, ledger } }: { standing: Standing }) {
  return (
    <section aria-labelledby="care">
      <h2 id="care">What needs care</h2>
      {ledger.verdict.intact ? (
        <p>
          The ledger is intact: {ledger.entries} {ledger.entries === 1 ? 'entry' : 'entries'}, each bound to
          the one before.
        </p>
      ) : (
        <Caution>
          <strong>The ledger is not intact.</strong> Entries were removed, changed or put in another order.
          See <code>fieldseal ledger check</code>.
        </Caution>
      )}
      {cautions.map((caution) => (
        <Caution key={caution}>{caution}</Caution>
      ))}
      {cautions.length === 0 && <p>Nothing else.</p>}
    </section>
  );
}

/** Certificates on one line of time, from today to the last that lapses. */
function Lapses({ standing: { keys, now } }: { standing: Standing }) {
  const dated = keys
    .filter((key) => key.certificate?.not_after)
    .sort((a, b) => a.certificate!.not_after!.localeCompare(b.certificate!.not_after!));
  const begin = Date.parse(now);
  const end = Math.max(begin + 365 * DAY_MS, ...dated.map((key) => Date.parse(key.certificate!.not_after!)));
  return (
    <section aria-labelledby="keys">
      <h2 id="keys">Keys, and what lapses when</h2>
      {keys.length === 0 && <p>No key yet.</p>}
      <ul class="lapses">
        {[...dated, ...keys.filter((key) => !key.certificate?.not_after)].map((key) => (
          <Lapse key={key.name} shown={key} begin={begin} end={end} />
        ))}
      </ul>
    </section>
  );
}

function Lapse({ shown, begin, end }: { shown: KeyShown; begin: number; end: number }) {
  const until = shown.certificate?.not_after;
  const days = until ? Math.floor((Date.parse(until) - begin) / DAY_MS) : undefined;
  const share = until ? Math.max(0, Math.min(1, (Date.parse(until) - begin) / (end - begin))) : 1;
  return (
    <li>
      <span class="what">
        <strong>{shown.name}</strong> {shown.purpose}, {shown.custody} custody
      </span>
      <svg class="span" viewBox="0 0 100 4" preserveAspectRatio="none" aria-hidden="true">
        <rect class="ground" width="100" height="4" />
        <rect class={days !== undefined && days < 365 ? 'soon' : 'long'} width={100 * share} height="4" />
      </svg>
      <span class="when">
        {days === undefined
          ? shown.certificate
            ? 'no defined end'
            : 'no certificate, does not lapse'
          : days < 0
            ? `lapsed ${-days} days ago`
            : `${until!.slice(0, 10)}, in ${days} days`}
      </span>
      <Digest hex={shown.fingerprint} />
    </li>
  );
}

function Classes({ standing: { classes } }: { standing: Standing }) {
  return (
    <section aria-labelledby="classes">
      <h2 id="classes">Device classes</h2>
      {classes.length === 0 && (
        <p>None yet. A class says what its units trust and how their memory is laid out.</p>
      )}
      <div class="cards">
        {classes.map(({ name, model, scheme, profile, clock, confidentiality, units, releases }) => (
          <article key={name}>
            <h3>
              {name} <small>{model}</small>
            </h3>
            <Facts
              facts={[
                [
                  'trust',
                  scheme === 'asymmetric' ? 'signatures under the root' : 'MAC under a shared class key',
                ],
                ['profile', profile],
                ['encrypted', confidentiality === 'none' ? 'nothing' : confidentiality],
                ['clock', clock ? 'units have one' : 'units have none'],
                ['on record', `${counted(units, 'unit')}, ${counted(releases, 'release')}`],
              ]}
            />
            <a href={`/seal?class=${name}`}>Seal a release for {name}</a>
          </article>
        ))}
      </div>
    </section>
  );
}

function Releases({ standing: { releases } }: { standing: Standing }) {
  return (
    <section aria-labelledby="releases">
      <h2 id="releases">Last releases</h2>
      {releases.length === 0 && <p>Nothing was sealed yet.</p>}
      {releases.length > 0 && (
        <div class="wide">
          <table>
            <thead>
              <tr>
                <th scope="col">class</th>
                <th scope="col">version</th>
                <th scope="col">number</th>
                <th scope="col">sealed</th>
                <th scope="col">signed by</th>
                <th scope="col">manifest digest</th>
                <th scope="col">evidence</th>
              </tr>
            </thead>
            <tbody>
              {releases.map((release) => (
                <tr key={release.record}>
                  <th scope="row">{release.class}</th>
                  <td>{release.version}</td>
                  <td>{release.sequence_number}</td>
                  <td>{moment(release.sealed)}</td>
                  <td>
                    <SignedBy release={release} />
                  </td>
                  <td>
                    <Digest hex={release.manifest_digest} />
                  </td>
                  <td>
                    <a href={`/evidence?release=${release.class}/${release.sequence_number}`}>
                      of {release.version}
                    </a>
                  </td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      )}
    </section>
  );
}

/** Who signed a release, those who did so after it was sealed among them, and whom units still ask for. */
function SignedBy({ release: { signers, open } }: { release: ReleaseShown }) {
  const [first, later] = [signers.filter(({ signed }) => !signed), signers.filter(({ signed }) => signed)];
  return (
    <>
      {first.map(({ name }) => name).join(', ') || 'MAC key'}
      {later.map(({ name, signed }) => (
        <div key={name}>
          {name}, added {moment(signed!)}
        </div>
      ))}
      {open.length > 0 && <div class="hint">unfinished: still to be signed by {open.join('; ')}</div>}
    </>
  );
}

/** Broadcasts that have not come to their end; nothing where no fleet is kept here. */
function UnderWay() {
  const { value } = useDocument<{ broadcasts: readonly BroadcastListed[] }>('/broadcasts');
  const open = value?.broadcasts.filter(({ state }) => state !== 'done' && state !== 'halted') ?? [];
  if (open.length === 0) return null;
  return (
    <section aria-labelledby="under-way">
      <h2 id="under-way">Broadcasts under way</h2>
      <ul>
        {open.map(({ broadcast, class: name, version, state }) => (
          <li key={broadcast}>
            <a href={`/broadcast?broadcast=${broadcast}`}>
              {name} {version}
            </a>
            : {state}
          </li>
        ))}
      </ul>
    </section>
  );
}

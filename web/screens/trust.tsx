import { useState } from 'preact/hooks';
import { counted, sentence, Tell } from '../parts/tell.tsx';
import { go, type Place } from '../router.ts';
import { useDocument } from '../use.ts';

interface Party {
  readonly id: string;
  readonly kind: string;
  readonly name: string;
  readonly says: string;
  readonly rank: number;
}

interface Trust {
  readonly parties: readonly Party[];
  readonly bonds: readonly { readonly from: string; readonly to: string; readonly says: string }[];
}

const COLUMN = 300;
const ROW = 102;
const BOX = { width: 230, height: 76 };
const RANKS = ['Trusted first', 'Certified, or shared', 'Believe them'];

/** Who trusts whom? The chain of trust as a picture; a key that is picked lights up what its holder reaches. */
export function Trust({ place }: { place: Place }) {
  const { value, problem } = useDocument<Trust>('/trust');
  const picked = place.query.get('key') ?? '';
  if (problem) return <Tell problem={problem} />;
  if (!value) return <p class="waiting">Reading keys and certificates...</p>;
  const reached = reach(value, picked);
  return (
    <>
      <h1>Who trusts whom?</h1>
      {value.parties.length === 0 ? (
        <p>There is no class and no key yet.</p>
      ) : (
        <>
          <p>Pick a key, and everything that its holder reaches is marked.</p>
          <Picture trust={value} picked={picked} reached={reached} />
          <Told trust={value} picked={picked} reached={reached} />
          {picked.startsWith('key ') && <Exposed key={picked} name={picked.slice('key '.length)} />}
        </>
      )}
    </>
  );
}

function Picture({ trust, picked, reached }: { trust: Trust; picked: string; reached: ReadonlySet<string> }) {
  const [hovered, setHovered] = useState<string>();
  const ranks = RANKS.map((_, rank) => trust.parties.filter((party) => party.rank === rank));
  const height = Math.max(...ranks.map(({ length }) => length)) * ROW + 40;
  const placed = new Map(
    ranks.flatMap((parties, rank) =>
      parties.map((party, i) => {
        const y = 40 + ((i + 0.5) * (height - 40)) / parties.length - BOX.height / 2;
        return [party.id, { x: rank * COLUMN + 4, y }] as const;
      }),
    ),
  );
  const lit = (id: string) => reached.has(id) || id === picked;
  return (
    <div class="wide chain">
      <div class="links-frame" style={{ width: `${COLUMN * 2 + BOX.width + 8}px`, height: `${height}px` }}>
        <svg class="links" width={COLUMN * 2 + BOX.width + 8} height={height} aria-hidden="true">
          {trust.bonds.map(({ from, to }) => {
            const [a, b] = [placed.get(from)!, placed.get(to)!];
            const [x1, y1, x2, y2] = [a.x + BOX.width, a.y + BOX.height / 2, b.x, b.y + BOX.height / 2];
            const marked = lit(from) && lit(to);
            return (
              <path
                key={`${from} ${to}`}
                class={marked ? 'bond lit' : from === hovered || to === hovered ? 'bond near' : 'bond'}
                d={`M${x1} ${y1} C${x1 + 40} ${y1} ${x2 - 40} ${y2} ${x2} ${y2}`}
              />
            );
          })}
        </svg>
        {RANKS.map((title, rank) => (
          <p key={title} class="rank" style={{ left: `${rank * COLUMN + 4}px` }}>
            {title}
          </p>
        ))}
        {trust.parties.map((party) => {
          const { x, y } = placed.get(party.id)!;
          const style = { left: `${x}px`, top: `${y}px`, width: `${BOX.width}px`, height: `${BOX.height}px` };
          return (
            <button
              key={party.id}
              type="button"
              class={`party ${party.kind.replace(' ', '-')} ${reached.has(party.id) ? 'lit' : ''}`}
              style={style}
              aria-pressed={party.id === picked}
              disabled={party.kind === 'class'}
              onMouseEnter={() => setHovered(party.id)}
              onMouseLeave={() => setHovered(undefined)}
              onClick={() =>
                go(party.id === picked ? '/trust' : `/trust?key=${encodeURIComponent(party.id)}`)
              }
            >
              <strong>{party.name}</strong> {party.kind}
              <br />
              <small>{party.says}</small>
              {reached.has(party.id) && <span class="mark"> reached</span>}
            </button>
          );
        })}
      </div>
    </div>
  );
}

/** The same in words, for whoever does not see the picture. */
function Told({ trust, picked, reached }: { trust: Trust; picked: string; reached: ReadonlySet<string> }) {
  const party = trust.parties.find(({ id }) => id === picked);
  const named = (id: string) => {
    const found = trust.parties.find((each) => each.id === id);
    if (!found) return id;
    return found.kind === found.name ? found.name : `${found.kind} ${found.name}`;
  };
  return (
    <section aria-live="polite" aria-labelledby="told">
      <h2 id="told">{party ? `Whoever holds ${party.name}` : 'In words'}</h2>
      <ul>
        {trust.bonds
          .filter(({ from }) => !party || from === picked || reached.has(from))
          .map(({ from, to, says }) => (
            <li key={`${from} ${to}`}>
              {named(from)} {says} {named(to)}
            </li>
          ))}
      </ul>
    </section>
  );
}

/** Everything below a party. */
function reach({ bonds }: Trust, from: string): ReadonlySet<string> {
  const reached = new Set<string>();
  const visit = (id: string) => {
    for (const bond of bonds.filter((each) => each.from === id && !reached.has(each.to))) {
      reached.add(bond.to);
      visit(bond.to);
    }
  };
  visit(from);
  return reached;
}

interface Exposure {
  readonly forges: readonly string[];
  readonly beyond_repair: readonly string[];
  readonly incident: string | null;
  readonly moments: readonly { readonly what: string; readonly time: string }[];
  readonly releases: readonly unknown[];
  readonly units: { readonly count: number };
}

/** What a leak of the picked key would mean. */
function Exposed({ name }: { name: string }) {
  const { value, problem } = useDocument<Exposure>(`/exposures/${name}`);
  if (problem) return <Tell problem={problem} />;
  if (!value) return null;
  return (
    <section aria-labelledby="exposed">
      <h2 id="exposed">If it leaked</h2>
      <ul>
        {value.forges.map((line) => (
          <li key={line}>{line}</li>
        ))}
      </ul>
      <p>
        It reaches {counted(value.units.count, 'unit')} on record and{' '}
        {counted(value.releases.length, 'release')}.
      </p>
      {value.beyond_repair.map((line) => (
        <p key={line} class="notice refused">
          {sentence(`What no command repairs: ${line}`)}
        </p>
      ))}
      {value.incident && (
        <a href={`/plan?happened=${value.incident}&about=${encodeURIComponent(name)}`}>
          It has happened: open an incident
        </a>
      )}
    </section>
  );
}

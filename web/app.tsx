import type { ComponentType } from 'preact';
import { useEffect, useRef } from 'preact/hooks';
import { remove } from './api.ts';
import { Tell } from './parts/tell.tsx';
import { type Place, usePlace } from './router.ts';
import { Approvals } from './screens/approvals.tsx';
import { Ask } from './screens/ask.tsx';
import { BroadcastScreen } from './screens/broadcast.tsx';
import { ChallengeScreen } from './screens/challenge.tsx';
import { Enter } from './screens/enter.tsx';
import { EvidenceScreen } from './screens/evidence.tsx';
import { Inside } from './screens/inside.tsx';
import { PlanScreen } from './screens/plan.tsx';
import { Rehearse } from './screens/rehearse.tsx';
import { Seal } from './screens/seal.tsx';
import { Stand } from './screens/stand.tsx';
import { Trust } from './screens/trust.tsx';
import { UnitsScreen } from './screens/units.tsx';
import type { SessionShown, Standing } from './shapes.ts';
import { SESSION_CHANGED, useDocument } from './use.ts';

/** The screens, by the user's own questions. */
const SCREENS: readonly { path: string; question: string; screen: ComponentType<{ place: Place }> }[] = [
  { path: '/', question: 'Where do I stand?', screen: Stand },
  { path: '/trust', question: 'Who trusts whom?', screen: Trust },
  { path: '/seal', question: 'Seal a release', screen: Seal },
  { path: '/approvals', question: 'What waits for approval?', screen: Approvals },
  { path: '/inside', question: 'Look inside', screen: Inside },
  { path: '/ask', question: 'What would a unit say?', screen: Ask },
  { path: '/challenge', question: 'Challenge', screen: ChallengeScreen },
  { path: '/rehearse', question: 'Rehearse', screen: Rehearse },
  { path: '/broadcast', question: 'How does the broadcast go?', screen: BroadcastScreen },
  { path: '/units', question: 'Where are the units?', screen: UnitsScreen },
  { path: '/evidence', question: 'What can I show?', screen: EvidenceScreen },
  { path: '/plan', question: 'Plan and incidents', screen: PlanScreen },
];

/** The desk: who is there, which question, and its screen. */
export function App() {
  const place = usePlace();
  const session = useDocument<SessionShown>('/session');
  useEffect(() => {
    addEventListener(SESSION_CHANGED, session.again);
    return () => removeEventListener(SESSION_CHANGED, session.again);
  }, [session.again]);
  if (place.path === '/enter' || session.problem?.status === 401) return <Enter entered={session.again} />;
  if (session.problem) return <Tell problem={session.problem} />;
  if (!session.value) return null;
  return <Desk place={place} session={session.value} />;
}

function Desk({ place, session }: { place: Place; session: SessionShown }) {
  const standing = useDocument<Standing>('/standing');
  const shown = SCREENS.find(({ path }) => path === place.path);
  const Screen = shown?.screen;
  const main = useRef<HTMLElement>(null);
  const first = useRef(true);
  useEffect(() => {
    document.title = `${shown?.question ?? 'Nothing here'} - fieldseal desk`;
    // Whoever follows a link with a screen reader starts at the new screen, not at the old one's end.
    if (!first.current) main.current?.focus();
    first.current = false;
  }, [shown]);
  return (
    <>
      <a class="skip" href="#main">
        To the screen itself
      </a>
      <header class="masthead">
        <p class="name">
          <span class="brand">fieldseal</span> {standing.value?.workspace.vendor_domain}
          {standing.value?.workspace.trial && <strong class="trial">TRIAL: not for production</strong>}
        </p>
        <p class="who">
          {session.who}, {session.role}
          {session.unlocked_until && <Held until={session.unlocked_until} />}
          <button
            type="button"
            class="quiet"
            onClick={() => remove('/session').then(() => location.assign('/'))}
          >
            leave
          </button>
        </p>
        <nav aria-label="Questions">
          {SCREENS.map(({ path, question }) => (
            <a key={path} href={path} aria-current={path === place.path ? 'page' : undefined}>
              {question}
            </a>
          ))}
        </nav>
      </header>
      <main id="main" ref={main} tabIndex={-1}>
        {Screen ? <Screen place={place} /> : <Nothing />}
      </main>
    </>
  );
}

function Held({ until }: { until: string }) {
  const forget = () => remove('/session/passphrase').then(() => dispatchEvent(new Event(SESSION_CHANGED)));
  useEffect(() => {
    const over = setTimeout(
      () => dispatchEvent(new Event(SESSION_CHANGED)),
      Date.parse(until) - Date.now() + 500,
    );
    return () => clearTimeout(over);
  }, [until]);
  return (
    <span class="held">
      passphrase held until {new Date(until).toLocaleTimeString()}
      <button type="button" class="quiet" onClick={forget}>
        forget it
      </button>
    </span>
  );
}

function Nothing() {
  return (
    <>
      <h1>There is no such page</h1>
      <p>
        The address is mistyped, or what it named is gone. <a href="/">Where do I stand?</a>
      </p>
    </>
  );
}

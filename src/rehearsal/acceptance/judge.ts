import {
  type CheckRequest,
  checkForUnit,
  type RefusalCode,
  type StepName,
  shownText,
  type UnitView,
  type Verdict,
} from '../../unit/index.ts';
import type { Group } from './grouping.ts';
import type { RunningImages } from './running.ts';
import type { StandIn } from './stand-ins.ts';
import { viewOf } from './view.ts';

/** What units of a group would say. */
export interface Answer {
  /** `as far as it can be judged`: nothing was refuted, but a key that only units hold, or the image, was not at hand. */
  readonly verdict: 'accepted' | 'as far as it can be judged' | 'refused';
  readonly refusal: Verdict['refusal'];
  /** Of the comparison that refused, for the unit that was asked: what was expected, and what was found. */
  readonly because: string | null;
  /** What could not be judged. */
  readonly notJudged: string | null;
}

/** What a stand-in for a decryption key cannot open. */
const KEYLESS: ReadonlySet<RefusalCode> = new Set(['decryption-failed', 'image-digest-wrong']);

/** The comparison that says that a unit is among the recipients. */
const CONTENT_KEY = 'content key of the image';

export interface Offer {
  readonly standIn: StandIn;
  readonly image: CheckRequest['image'];
  readonly running: RunningImages;
  readonly now: Date;
}

/** Runs the real check for the first unit of a group. Steps 1 to 9; nothing is changed. */
export function answerOf({ facts, ofClass }: Group, { standIn, image, running, now }: Offer): Answer {
  const unit = viewOf(facts, ofClass, standIn.macKey, running);
  const verdict = checkForUnit({ unit, envelope: standIn.envelope, image, now });
  const { refusal } = verdict;
  const notJudged = refusal && withoutMeans(verdict, standIn, unit);
  if (notJudged) return { verdict: 'as far as it can be judged', refusal: null, because: null, notJudged };
  if (refusal)
    return { verdict: 'refused', refusal, because: becauseOf(verdict, refusal.step), notJudged: null };
  const accepted = verdict.verdict === 'accepted';
  return {
    verdict: accepted ? 'accepted' : 'as far as it can be judged',
    refusal: null,
    because: null,
    notJudged: accepted ? null : lackingIn(verdict),
  };
}

/** What could not be judged, where a refusal only says that a stand-in is not the real key, or that what runs is not at hand. */
function withoutMeans(
  { refusal, steps }: Verdict,
  { replaced }: StandIn,
  { precursor }: UnitView,
): string | null {
  if (refusal?.code === 'precursor-wrong' && !precursor)
    return 'whether the delta is for what runs: name the release that they run with --running';
  if (refusal?.code === 'mac-wrong' && !replaced)
    return 'the MAC, and every step after it: no class key is opened';
  if (!refusal || !KEYLESS.has(refusal.code)) return null;
  const content = steps.find(({ step }) => step === 'content');
  const opened = content?.comparisons.some(({ what, ok }) => what === CONTENT_KEY && ok === true);
  return opened ? 'what comes out of the decryption: only units hold the key' : null;
}

/** What was absent: the image, or else what the first step that lacks something says. */
function lackingIn({ steps }: Verdict): string {
  const first = steps.find(({ outcome }) => outcome === 'absent');
  if (!first || first.step === 'content' || first.step === 'image') return 'the image: it was not at hand';
  const { what, found } = first.comparisons.at(-1)!;
  return `${what}: ${found === undefined ? 'nothing at hand' : shownText(found)}`;
}

function becauseOf({ steps }: Verdict, name: StepName): string | null {
  const last = steps.find(({ step }) => step === name)?.comparisons.findLast(({ ok }) => ok === false);
  if (!last) return null;
  const told = (value: typeof last.found) => (value === undefined ? 'nothing' : shownText(value));
  return `${last.what}: expected ${told(last.expected)}, found ${told(last.found)}`;
}

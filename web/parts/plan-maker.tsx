import { useEffect } from 'preact/hooks';
import { bytesOf, type DeskFile, post } from '../api.ts';
import type { PlanJudgement } from '../fleet-shapes.ts';
import type { PlanInHand } from '../plan-in-hand.ts';
import { useWork } from '../use.ts';
import { Drop } from './drop.tsx';
import { PlanJudged } from './plan-judgement.tsx';
import { PlanText } from './plan-text.tsx';
import { Tell } from './tell.tsx';

interface Props {
  readonly className: string;
  readonly plan: PlanInHand;
  readonly sent: SentFiles;
  /** Of text and files as they stand. */
  readonly judgement: PlanJudgement | undefined;
  /** Whether this very text was judged before, with whatever files. */
  readonly wasJudged: boolean;
  judged(text: string, sent: SentFiles, judgement: PlanJudgement): void;
}

/** What is to be sent, as the desk names files. */
export interface SentFiles {
  readonly file: string | undefined;
  readonly images: readonly string[];
  readonly stepping_stones: readonly string[];
}

/** The plan of waves: written, or brought, and judged against the fleet; once more where other files are to be sent. */
export function PlanMaker({ className, plan, sent, judgement, wasJudged, judged }: Props) {
  const { text, write, forget, problem } = plan;
  const work = useWork();
  const change = (changed: string) => {
    work.clear();
    write(changed);
  };
  const judge = (asked: string) =>
    work.run(async () =>
      judged(
        asked,
        sent,
        await post<PlanJudgement>('/broadcasts/judgements', { class: className, plan: asked, ...sent }),
      ),
    );
  useEffect(() => {
    if (wasJudged && text !== undefined) judge(text);
  }, [JSON.stringify(sent)]);
  const bring = (file: DeskFile) =>
    work.run(async () => write(new TextDecoder().decode(await bytesOf(file.id))));
  const mistakes = work.problem?.mistakes ?? [];
  return (
    <section aria-labelledby="plan">
      <h3 id="plan">How it goes out</h3>
      <Tell problem={problem} />
      {text === undefined && !problem && <p class="waiting">Looking at the fleet...</p>}
      {text !== undefined && (
        <>
          <p class="hint">
            Its figures are common practice for a fleet that answers within a day. Yours depend on how often
            units wake, and on what a bad release does where they stand.
          </p>
          <Drop
            label="A plan that you have already"
            hint="Its text takes the place of what the fleet suggests below."
            file={undefined}
            take={bring}
          />
          <PlanText value={text} mistakes={mistakes} set={change} />
          <p class="row">
            <button type="button" class="main" disabled={work.busy} onClick={() => judge(text)}>
              Judge it against the fleet
            </button>
            <button
              type="button"
              onClick={() => {
                work.clear();
                forget();
              }}
            >
              Start again from what the fleet suggests
            </button>
            <a
              class="take"
              download={`${className}-waves.yaml`}
              href={`data:application/yaml,${encodeURIComponent(text)}`}
            >
              Take the plan as a file
            </a>
          </p>
          {mistakes.length === 0 && <Tell problem={work.problem} />}
          {judgement && <PlanJudged judgement={judgement} />}
        </>
      )}
    </section>
  );
}

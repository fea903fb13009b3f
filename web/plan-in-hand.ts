import { useEffect, useState } from 'preact/hooks';
import { type Problem, post } from './api.ts';
import type { PlanDraft } from './fleet-shapes.ts';
import { useWork } from './use.ts';

/** The plan of waves that somebody is writing for a class. */
export interface PlanInHand {
  /** Undefined until there is one. */
  readonly text: string | undefined;
  readonly depot: string | null;
  readonly problem: Problem | undefined;
  write(text: string): void;
  /** Back to what the fleet suggests; also once it was used. */
  forget(): void;
}

/** What is written stays while this page of the browser does: on other screens, after a reload. */
export function usePlan(className: string): PlanInHand {
  const key = `plan of ${className}`;
  const [written, setWritten] = useState(() => sessionStorage.getItem(key) ?? undefined);
  const [draft, setDraft] = useState<PlanDraft>();
  const { run, problem } = useWork();
  useEffect(
    () => run(async () => setDraft(await post('/broadcasts/drafts', { class: className }))),
    [className],
  );
  return {
    text: draft && (written ?? draft.plan),
    depot: draft?.depot ?? null,
    problem,
    write: (text) => {
      sessionStorage.setItem(key, text);
      setWritten(text);
    },
    forget: () => {
      sessionStorage.removeItem(key);
      setWritten(undefined);
    },
  };
}

import { useCallback, useEffect, useState } from 'preact/hooks';
import { get, Problem } from './api.ts';

/** Told to the window when what the session holds has changed. */
export const SESSION_CHANGED = 'desk-session';

/** Something that is being fetched, is there, or could not be had. */
export interface Fetched<T> {
  readonly value: T | undefined;
  readonly problem: Problem | undefined;
  again(): void;
}

/** Fetches a document when it is first shown, and again on demand. Undefined as path: nothing yet. */
export function useDocument<T>(path: string | undefined): Fetched<T> {
  const [state, setState] = useState<{ path?: string; value?: T; problem?: Problem }>({});
  const [round, setRound] = useState(0);
  useEffect(() => {
    let wanted = true;
    if (path === undefined) return;
    get<T>(path).then(
      (value) => wanted && setState({ path, value }),
      (problem) => wanted && setState({ path, problem }),
    );
    return () => {
      wanted = false;
    };
  }, [path, round]);
  // What was fetched for another address is not shown under this one.
  const { value, problem } = state.path === path ? state : {};
  return { value, problem, again: useCallback(() => setRound((n) => n + 1), []) };
}

/** Work that a button starts: whether it is under way, and what went wrong. */
export function useWork(): {
  busy: boolean;
  problem: Problem | undefined;
  run(work: () => Promise<void>): void;
  clear(): void;
} {
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<Problem>();
  const run = useCallback((work: () => Promise<void>) => {
    setBusy(true);
    setProblem(undefined);
    work()
      .catch((error: unknown) => setProblem(error instanceof Problem ? error : unforeseen(error)))
      .finally(() => setBusy(false));
  }, []);
  return { busy, problem, run, clear: useCallback(() => setProblem(undefined), []) };
}

function unforeseen(error: unknown): Problem {
  const message = error instanceof Error ? error.message : String(error);
  return new Problem(0, {
    code: 'page-fault',
    message,
    hint: 'It is a fault of this page: please report it.',
  });
}

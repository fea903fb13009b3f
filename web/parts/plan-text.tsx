import { useId, useRef } from 'preact/hooks';
import type { Mistake } from '../api.ts';
import { counted } from './tell.tsx';

interface Props {
  readonly value: string;
  readonly mistakes: readonly Mistake[];
  set(value: string): void;
}

/** A plan of waves as text, its lines numbered, and its mistakes at their lines. */
export function PlanText({ value, mistakes, set }: Props) {
  const id = useId();
  const area = useRef<HTMLTextAreaElement>(null);
  const frame = useRef<HTMLDivElement>(null);
  const lines = value.split('\n');
  const wrong = new Set(mistakes.map(({ line }) => line));
  const goTo = (line: number) => {
    const start = lines.slice(0, line - 1).reduce((sum, each) => sum + each.length + 1, 0);
    area.current?.focus();
    area.current?.setSelectionRange(start, start + (lines[line - 1] ?? '').length);
    const { scrollHeight = 0, clientHeight = 0 } = frame.current ?? {};
    frame.current?.scrollTo({ top: ((line - 1) / lines.length) * scrollHeight - clientHeight / 2 });
  };
  return (
    <>
      <label for={id}>Plan of waves</label>
      <div class="plan-text" ref={frame}>
        <ol aria-hidden="true">
          {lines.map((_, i) => (
            <li class={wrong.has(i + 1) ? 'amiss' : ''}>
              {wrong.has(i + 1) && '✕ '}
              {i + 1}
            </li>
          ))}
        </ol>
        <textarea
          ref={area}
          id={id}
          value={value}
          rows={lines.length + 1}
          wrap="off"
          spellcheck={false}
          autocomplete="off"
          aria-invalid={mistakes.length > 0 ? 'true' : undefined}
          aria-describedby={mistakes.length > 0 ? `${id}-says` : undefined}
          onInput={(event) => set(event.currentTarget.value)}
        />
      </div>
      {mistakes.length > 0 && (
        <div id={`${id}-says`} class="notice refused" role="alert">
          <p>
            <strong>
              {counted(mistakes.length, 'mistake')} in the plan. Nothing was judged, nothing begins.
            </strong>
          </p>
          <ul>
            {mistakes.map((mistake) => (
              <li key={`${mistake.line}:${mistake.column}:${mistake.field}`}>
                <button type="button" class="quiet" onClick={() => goTo(mistake.line)}>
                  line {mistake.line}
                </button>{' '}
                <Says mistake={mistake} />
              </li>
            ))}
          </ul>
        </div>
      )}
    </>
  );
}

function Says({ mistake: { field, says, expected, found, example } }: { mistake: Mistake }) {
  return (
    <>
      {field && (
        <>
          <code>{field}</code>:{' '}
        </>
      )}
      {says === undefined ? `expected ${expected}, found ${found}` : `${says}; expected ${expected}`}
      {example && (
        <>
          , for example <code>{example}</code>
        </>
      )}
    </>
  );
}

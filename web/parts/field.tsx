import { useEffect, useId, useRef } from 'preact/hooks';
import type { Problem } from '../api.ts';
import { sentence } from './tell.tsx';

interface Props {
  readonly label: string;
  readonly value: string;
  /** What is wrong with it: told here, read aloud, and taken to. */
  readonly problem?: Problem | undefined;
  readonly secret?: boolean;
  readonly required?: boolean;
  readonly placeholder?: string;
  set(value: string): void;
}

/** A field with its name, and what is wrong with it beside it. No browser fills it in or remembers it. */
export function Field({ label, value, problem, secret, required = true, placeholder, set }: Props) {
  const id = useId();
  const input = useRef<HTMLInputElement>(null);
  useEffect(() => {
    if (problem) input.current?.focus();
  }, [problem]);
  return (
    <div class="field">
      <label for={id}>{label}</label>
      <input
        ref={input}
        id={id}
        {...(secret ? { type: 'password' } : { type: 'text' })}
        value={value}
        required={required}
        placeholder={placeholder}
        autocomplete="off"
        spellcheck={false}
        aria-invalid={problem ? 'true' : undefined}
        aria-describedby={problem ? `${id}-says` : undefined}
        onInput={(event) => set(event.currentTarget.value)}
      />
      {problem && (
        <p id={`${id}-says`} class="notice refused" role="alert">
          <strong>{sentence(problem.message)}</strong> {problem.hint && sentence(problem.hint)}
        </p>
      )}
    </div>
  );
}

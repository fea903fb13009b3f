import type { WorkspaceError } from '../workspace/index.ts';
import { DESK_CODES, DeskError } from './error.ts';

/** An error as pages and programs are told it. */
export interface Explained {
  readonly code: string;
  readonly message: string;
  readonly hint: string | null;
  /** The field of the request that it is about, such as make.name; where it is about one. */
  readonly field?: string;
  /** Mistakes in a text that people write; where it is about one. */
  readonly mistakes?: WorkspaceError['mistakes'];
}

/** An error of a room: a closed code, a message, perhaps the next move. */
interface CodedError extends Error {
  readonly code: string;
  readonly hint?: string;
  readonly field?: string;
  readonly mistakes?: WorkspaceError['mistakes'];
}

/** Tells an error of any room. What nobody foresaw is told without its inside, which may hold what is not to be told. */
export function explain(error: unknown): Explained {
  if (isForeseen(error)) {
    const { code, message, hint = null, field, mistakes = [] } = error;
    return {
      code,
      message,
      hint,
      ...(field !== undefined && { field }),
      ...(mistakes.length > 0 && { mistakes }),
    };
  }
  return {
    code: 'program-fault',
    message: 'this should not have happened',
    hint: 'It is a fault of the program, not of your input: see what "fieldseal serve" printed, and report it.',
  };
}

/** The HTTP status of an error: what the desk refuses, what a room refuses, what nobody foresaw. */
export function statusOf(error: unknown): number {
  if (error instanceof DeskError) return DESK_CODES[error.code].http;
  return isForeseen(error) ? 422 : 500;
}

// Errors of rooms have lower-case codes; those of Node and of the system do not.
function isForeseen(error: unknown): error is CodedError {
  const code: unknown = error instanceof Error && 'code' in error ? error.code : undefined;
  return typeof code === 'string' && /^[a-z][a-z0-9-]*$/.test(code);
}

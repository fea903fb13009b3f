import type { Typed } from '../held/typed.ts';
import type { DeskAct } from './act.ts';

/** A refusal, and the field of the request that it is about, so that a page tells it there. */
export class AtField extends Error {
  override readonly name = 'AtField';
  readonly code: string;
  readonly hint: string | undefined;
  readonly field: string;

  constructor({ code, message, hint }: { code: string; message: string; hint?: string }, field: string) {
    super(message);
    this.code = code;
    this.hint = hint;
    this.field = field;
  }
}

const OF_NAME = new Set(['name-taken', 'name-invalid', 'key-file-exists', 'token-key-exists']);

/** The error of an act, at its field where it has one. */
export function atField(error: unknown, act: DeskAct, typed: Typed): unknown {
  if (error instanceof AtField) return error;
  if (!(error instanceof Error) || !('code' in error) || typeof error.code !== 'string') return error;
  const field = fieldOf(error.code, act, typed);
  return field === undefined ? error : new AtField(error as Error & { code: string }, field);
}

function fieldOf(
  code: string,
  { opens, choices, root, makes }: DeskAct,
  { asked }: Typed,
): string | undefined {
  const [kind] = code.split('-');
  if (OF_NAME.has(code)) return makes && 'make.name';
  if (kind === 'passphrase' || kind === 'pin') {
    if (asked !== undefined) return `${asked}.${kind}`;
    return opens.length + choices.length > 0 ? kind : undefined;
  }
  // The root is opened first: until it was asked for, trouble with a token is trouble with that of the root.
  const rootFirst = root?.custody === 'token' && asked === undefined;
  return kind === 'token' && makes && !rootFirst ? 'make.key.uri' : undefined;
}

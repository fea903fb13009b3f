import { WorkspaceError } from './errors.ts';

const NAME = /^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$/;

/**
 * Refuses a name that cannot safely be the name of a file: 1 to 64 of letters, digits, '.', '_', '-', the first
 * a letter or digit. `what` says what is named, e.g. 'class'.
 */
export function requireName(name: string, what: string): string {
  if (NAME.test(name) && !name.endsWith('.')) return name;
  throw new WorkspaceError('name-invalid', `"${name}" cannot be the name of a ${what}`, {
    hint: "use 1 to 64 letters, digits, '.', '_' or '-', beginning with a letter or digit, e.g. vent or line-1",
  });
}

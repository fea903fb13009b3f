import { WorkspaceError } from './errors.ts';

const NAME = /^[A-Za-z0-9](?:[A-Za-z0-9._-]{0,62}[A-Za-z0-9_-])?$/;
const CLASS_NAME = /^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$/;

/**
 * Refuses a name that cannot safely be the name of a file: 1 to 64 of letters, digits, '.', '_', '-', the first
 * a letter or digit, the last no '.'. `what` says what is named, e.g. 'unit'.
 */
export function requireName(name: string, what: string): string {
  if (NAME.test(name)) return name;
  throw unfit(
    name,
    what,
    "1 to 64 letters, digits, '.', '_' or '-', beginning with a letter or digit, e.g. line-1",
  );
}

/** The same for a class, whose name holds no '.': cohort keys are called CLASS.COHORT. */
export function requireClassName(name: string): string {
  if (CLASS_NAME.test(name)) return name;
  throw unfit(
    name,
    'class',
    "1 to 64 letters, digits, '_' or '-', beginning with a letter or digit, e.g. vent",
  );
}

function unfit(name: string, what: string, expected: string): WorkspaceError {
  return new WorkspaceError('name-invalid', `"${name}" cannot be the name of a ${what}`, {
    hint: `use ${expected}`,
  });
}

/** Every way in which the workspace says no, with the exit status a command gives it (1 refused, 2 wrong use, 3 not done). */
export const WORKSPACE_CODES = {
  'not-a-workspace': 2,
  'not-empty': 2,
  'name-invalid': 2,
  'name-taken': 2,
  'not-found': 2,
  'file-invalid': 2,
  'wrong-value': 2,
  'output-exists': 2,
  'output-is-record': 2,
  'file-missing': 3,
  'file-damaged': 3,
  'file-unreadable': 3,
  'disk-full': 3,
  'read-only': 3,
  'no-permission': 3,
  'file-trouble': 3,
  'in-use': 3,
  'counter-missing': 1,
  'counter-behind': 1,
  'counter-elsewhere': 1,
  'number-used': 1,
  'number-out-of-range': 2,
  'number-jump': 1,
  'leaves-missing': 1,
  'leaves-copied': 1,
  'leaves-behind': 1,
  'leaves-used-up': 1,
  'ledger-broken': 1,
} as const;

export type WorkspaceCode = keyof typeof WORKSPACE_CODES;

/** One mistake in a file that people write: where it stands, what was expected, what was found, and an example. */
export interface Mistake {
  /** Line and column, both from 1. */
  readonly line: number;
  readonly column: number;
  /** Path of the field, e.g. `memory.slots[1].size`. Empty for the file as a whole. */
  readonly field: string;
  readonly expected: string;
  /** What stands there. */
  readonly found: string;
  /** What is wrong with it, where that is more than its form. */
  readonly says?: string;
  readonly example?: string;
}

interface ErrorDetail {
  /** What to do next, one sentence. */
  hint?: string;
  file?: string;
  mistakes?: readonly Mistake[];
  cause?: unknown;
}

/** What the workspace could not or would not do. `message` says what happened and what it means; `hint` what to do. */
export class WorkspaceError extends Error {
  override readonly name = 'WorkspaceError';
  readonly hint: string | undefined;
  readonly file: string | undefined;
  readonly mistakes: readonly Mistake[];

  constructor(
    readonly code: WorkspaceCode,
    message: string,
    detail: ErrorDetail = {},
  ) {
    super(message, detail.cause === undefined ? undefined : { cause: detail.cause });
    this.hint = detail.hint;
    this.file = detail.file;
    this.mistakes = detail.mistakes ?? [];
  }

  /** Exit status for a command: 1 refused, 2 wrong use, 3 could not be done. */
  get status(): 1 | 2 | 3 {
    return WORKSPACE_CODES[this.code];
  }

  /** Line of the first mistake, where the trouble is in a file that people write. */
  get line(): number | undefined {
    return this.mistakes[0]?.line;
  }
}

/** The error for a file with mistakes; its message holds each of them on a line of its own. */
export function invalidFile(file: string, mistakes: readonly Mistake[]): WorkspaceError {
  const told = mistakes.map((mistake) => `${file}:${mistake.line}:${mistake.column}: ${tell(mistake)}`);
  return new WorkspaceError('file-invalid', told.join('\n'), {
    hint: 'correct it and try again; nothing was changed',
    file,
    mistakes,
  });
}

function tell({ field, expected, found, says, example }: Mistake): string {
  const place = field === '' ? '' : `${field}: `;
  const what = says === undefined ? `expected ${expected}, found ${found}` : `${says}; expected ${expected}`;
  return `${place}${what}${example === undefined ? '' : ` (for example ${example})`}`;
}

/** The `code` of an error from the operating system, e.g. `ENOENT`; undefined for anything else. */
export function systemCode(error: unknown): string | undefined {
  return error instanceof Error && 'code' in error && typeof error.code === 'string' ? error.code : undefined;
}

const SYSTEM_TROUBLE: Readonly<Record<string, readonly [WorkspaceCode, string, string]>> = {
  ENOSPC: ['disk-full', 'the disk is full', 'make room and run the command again'],
  EDQUOT: ['disk-full', 'the disk quota is used up', 'make room and run the command again'],
  EFBIG: [
    'disk-full',
    'the file would be larger than the file system or a limit allows',
    'raise the limit, or write to another disk',
  ],
  EROFS: [
    'read-only',
    'the file system is mounted read-only',
    'work on a writable copy or mount it for writing',
  ],
  EACCES: ['no-permission', 'this user may not do that there', 'check the owner and the mode of the folder'],
  EPERM: [
    'no-permission',
    'the file system does not allow that',
    'check the owner, and that the file system knows hard and symbolic links',
  ],
  ENOENT: ['file-missing', 'there is no such file or folder', 'check the path'],
  EEXIST: ['output-exists', 'that file is there already and was left as it is', 'name another file'],
  EISDIR: ['wrong-value', 'that is a folder, not a file', 'name a file'],
  ENOTDIR: ['wrong-value', 'a part of that path is a file, not a folder', 'check the path'],
  ENAMETOOLONG: ['wrong-value', 'that name is too long for the file system', 'choose a shorter name'],
  EMFILE: ['file-trouble', 'too many files are open', 'raise the limit of open files'],
  EIO: ['file-trouble', 'the disk reported a fault', 'check the disk before going on'],
};

/**
 * Turns an error of the operating system into one that says what happened to which file. Anything else comes
 * back unchanged. `doing` reads like 'write app.suit'.
 */
export function fromSystem(error: unknown, doing: string, file: string): unknown {
  const code = systemCode(error);
  if (error instanceof WorkspaceError || code === undefined) return error;
  const [kind, what, next] = SYSTEM_TROUBLE[code] ?? [
    'file-trouble',
    `the system says ${code}`,
    'check the disk and the path',
  ];
  return new WorkspaceError(kind, `cannot ${doing}: ${what}`, { hint: next, file, cause: error });
}

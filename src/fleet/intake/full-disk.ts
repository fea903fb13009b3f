/** What SQLite, PostgreSQL (class 53) and the system call a disk that takes no more, or a file that may not grow. */
const FULL = new Set(['SQLITE_FULL', 'SQLITE_IOERR_WRITE', '53100', 'ENOSPC', 'EDQUOT', 'EFBIG']);

/** Whether something failed because there is no room. */
export function isFull(error: unknown): boolean {
  if (!(error instanceof Error)) return false;
  return FULL.has((error as NodeJS.ErrnoException).code ?? '') || isFull(error.cause);
}
